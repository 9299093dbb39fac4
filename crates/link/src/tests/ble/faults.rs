//! Every fault of a radio, its service and its bus: right values again, none wrong, nothing started anew by hand.

use super::*;

#[tokio::test(start_paused = true)]
async fn a_broken_link_is_told_and_comes_back() {
    let fake = Fake::new(vec![meter(FIRST)]);
    let mut follower = Follower::new(open(&fake, FIRST));
    follower.opened(&fake, &meter(FIRST)).await;
    follower.delivers(&fake, &meter(FIRST)).await;
}
