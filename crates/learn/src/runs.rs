//! A recording between its gaps. Does not interpret the bytes.

use wire::stream::Recording;

/// Runs of bytes between gaps, each with the positions where a chunk began.
pub(crate) fn runs(recording: &Recording) -> Vec<(Vec<u8>, Vec<usize>)> {
    let mut runs = vec![(Vec::new(), Vec::new())];
    for (_, bytes) in recording.chunks() {
        match (bytes, runs.last_mut()) {
            (Some(bytes), Some((run, starts))) => {
                starts.push(run.len());
                run.extend_from_slice(bytes);
            }
            _ => runs.push((Vec::new(), Vec::new())),
        }
    }
    runs
}
