//! Bringing paths into line: at every sum all paths wait for the latest.

/// How late a sum is, and by how much each of its paths must wait, from how late each path arrives.
///
/// A sum without paths is on time.
#[must_use]
pub fn align(arrivals: &[usize]) -> (usize, Vec<usize>) {
    let latest = arrivals.iter().copied().max().unwrap_or(0);
    (latest, arrivals.iter().map(|arrival| latest - arrival).collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_path_waits_for_the_latest() {
        assert_eq!(align(&[0, 128, 32]), (128, vec![128, 0, 96]));
        assert_eq!(align(&[]), (0, vec![]));
    }
}
