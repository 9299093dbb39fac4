//! A dashboard with a scripted feed, for the browser tests. It serves the real page and invents nothing: each line of
//! stdin that opens with `{` is the next view; other lines are orders. It holds no daemon.
//!
//! Orders: `pause` (the feed stops as in a daemon that hangs, the server lives on), `resume`, `refuse SENTENCE`,
//! `accept`, `route {...}` (the list of the route), `quit`. Stdout: `ready http://...`, then one JSON line for each action that arrived.

use std::io::{BufRead, Write};
use std::sync::Arc;
use std::time::Duration;

use dashboard::{ActRequest, Config, Texts, serve};
use tokio::sync::{mpsc, watch};

/// How often the feed stands by its view; a daemon does so at least once a second.
const FEED: Duration = Duration::from_millis(500);

fn say(line: &str) {
    let mut out = std::io::stdout().lock();
    let _ = writeln!(out, "{line}").and_then(|()| out.flush());
}

async fn feed(
    mut orders: mpsc::Receiver<String>,
    mut actions: mpsc::Receiver<ActRequest>,
    view: watch::Sender<Arc<str>>,
    route: watch::Sender<Arc<str>>,
) {
    let (mut paused, mut refusal) = (false, None::<String>);
    let mut ticks = tokio::time::interval(FEED);
    loop {
        tokio::select! {
            order = orders.recv() => match order.as_deref().map(str::trim) {
                None | Some("quit") => return,
                Some("pause") => paused = true,
                Some("resume") => paused = false,
                Some("accept") => refusal = None,
                Some(line) if line.starts_with("refuse ") => refusal = line.strip_prefix("refuse ").map(str::to_owned),
                Some(line) if line.starts_with("route ") => {
                    route.send_replace(line.strip_prefix("route ").unwrap_or_default().into());
                }
                Some(line) => { view.send_replace(line.into()); }
            },
            Some(asked) = actions.recv() => {
                let action = serde_json::json!({ "check": asked.check, "action": record::act_json("do", &asked.act) });
                say(&action.to_string());
                let _ = asked.reply.send(refusal.clone().map_or(Ok(()), Err));
            }
            _ = ticks.tick() => if !paused {
                let same = Arc::clone(&view.borrow());
                view.send_replace(same);
            },
        }
    }
}

#[tokio::main(flavor = "current_thread")]
async fn main() -> Result<(), Box<dyn std::error::Error>> {
    let address = std::env::args().nth(1).unwrap_or_else(|| "127.0.0.1:0".to_owned());
    let listener = tokio::net::TcpListener::bind(&address).await?;
    say(&format!("ready http://{}/", listener.local_addr()?));
    let (order, orders) = mpsc::channel(16);
    std::thread::spawn(move || {
        for line in std::io::stdin().lock().lines().map_while(Result::ok) {
            if order.blocking_send(line).is_err() {
                return;
            }
        }
    });
    let (view, views) = watch::channel(Arc::<str>::from("{}"));
    let (route, routes) = watch::channel(Arc::<str>::from("{}"));
    let (send, actions) = mpsc::channel(8);
    let texts = Texts { view: views, route: routes };
    serve(listener, Config::default(), texts, send, feed(orders, actions, view, route)).await?;
    Ok(())
}
