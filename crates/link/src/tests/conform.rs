//! Every adapter against the contract, each in a few lines.

use crate::Adapter;
#[cfg(feature = "sim")]
use crate::Step;
use crate::conformance::{Bench, check};

#[cfg(all(feature = "serial", feature = "sim", unix))]
mod serial {
    use super::*;
    use crate::tests::TestDir;
    use crate::{PtyMeter, PtyOptions, SerialAdapter, Steps, WhenFull};

    struct SerialBench(SerialAdapter, PtyMeter);

    impl Bench for SerialBench {
        fn adapter(&self) -> &dyn Adapter {
            &self.0
        }
        fn selector(&self) -> String {
            self.1.selector()
        }
        fn feed(&mut self, sample: &[u8]) {
            self.1.send(sample).unwrap();
        }
        fn lose(&mut self) -> bool {
            self.1.unplug().is_ok()
        }
        fn restore(&mut self) {
            self.1.replug().unwrap();
        }
    }

    #[tokio::test]
    async fn serial() {
        let dir = TestDir::new();
        let options = PtyOptions { when_full: WhenFull::Wait, ..PtyOptions::default() };
        let meter = PtyMeter::spawn(&dir.join("meter"), Steps::once(Vec::new()), options).unwrap();
        check(&mut SerialBench(SerialAdapter::new(), meter)).await.unwrap();
    }
}

#[cfg(feature = "tcp")]
mod tcp {
    use std::io::Write as _;
    use std::net::{TcpListener, TcpStream};

    use super::*;
    use crate::TcpAdapter;

    /// The server and its side of the newest connection.
    struct TcpBench(TcpAdapter, TcpListener, Option<TcpStream>);

    impl Bench for TcpBench {
        fn adapter(&self) -> &dyn Adapter {
            &self.0
        }
        fn selector(&self) -> String {
            format!("tcp:{}", self.1.local_addr().unwrap())
        }
        fn feed(&mut self, sample: &[u8]) {
            self.2.insert(self.1.accept().unwrap().0).write_all(sample).unwrap();
        }
        fn lose(&mut self) -> bool {
            self.2.take().is_some()
        }
    }

    #[tokio::test]
    async fn tcp() {
        let server = TcpListener::bind("127.0.0.1:0").unwrap();
        check(&mut TcpBench(TcpAdapter::new(), server, None)).await.unwrap();
    }
}

#[cfg(feature = "file")]
mod file {
    use super::*;
    use crate::FileAdapter;
    use crate::tests::TestDir;

    struct FileBench(TestDir);

    impl Bench for FileBench {
        fn adapter(&self) -> &dyn Adapter {
            &FileAdapter
        }
        fn selector(&self) -> String {
            format!("file:{}", self.0.join("bytes").display())
        }
        fn is_finite(&self) -> bool {
            true
        }
        fn before_open(&mut self, sample: &[u8]) {
            std::fs::write(self.0.join("bytes"), sample).unwrap();
        }
    }

    #[tokio::test]
    async fn file() {
        check(&mut FileBench(TestDir::new())).await.unwrap();
    }
}

#[cfg(feature = "stdin")]
mod stdin {
    use super::*;
    use crate::StdinAdapter;

    struct StdinBench(StdinAdapter);

    impl Bench for StdinBench {
        fn adapter(&self) -> &dyn Adapter {
            &self.0
        }
        fn selector(&self) -> String {
            "stdin:".to_owned()
        }
        fn is_finite(&self) -> bool {
            true
        }
        fn before_open(&mut self, sample: &[u8]) {
            self.0 = StdinAdapter::reading(std::io::Cursor::new(sample.to_vec()));
        }
    }

    #[tokio::test]
    async fn stdin() {
        check(&mut StdinBench(StdinAdapter::new())).await.unwrap();
    }
}

#[cfg(feature = "sim")]
mod sim {
    use super::*;
    use crate::{FaultRates, FaultyAdapter, SimAdapter, Steps, TracedAdapter};

    struct SimBench<A>(A);

    impl<A: Adapter> Bench for SimBench<A> {
        fn adapter(&self) -> &dyn Adapter {
            &self.0
        }
        fn selector(&self) -> String {
            "sim:m".to_owned()
        }
        fn sample(&self) -> Vec<u8> {
            b"  44.70 uF\r\n".repeat(100)
        }
        fn lose(&mut self) -> bool {
            true
        }
    }

    fn adapter() -> SimAdapter {
        SimAdapter::new().with("m", || {
            let line = || Step::send(1, b"  44.70 uF\r\n".repeat(50));
            Steps::repeat(vec![line(), line(), Step::unplug(500)])
        })
    }

    #[tokio::test(start_paused = true)]
    async fn sim() {
        check(&mut SimBench(adapter())).await.unwrap();
    }

    #[tokio::test(start_paused = true)]
    async fn traced() {
        check(&mut SimBench(TracedAdapter::new(adapter(), |_, _| {}))).await.unwrap();
    }

    #[tokio::test(start_paused = true)]
    async fn faulty_without_faults() {
        check(&mut SimBench(FaultyAdapter::new(adapter(), 1, FaultRates::default(), |_, _| {})))
            .await
            .unwrap();
    }

    /// The injector does something: with faults the contract's "every byte in order" is broken.
    #[tokio::test(start_paused = true)]
    async fn faulty_with_faults() {
        let rates = FaultRates { flip_per_million: 10_000, ..FaultRates::default() };
        let found =
            check(&mut SimBench(FaultyAdapter::new(adapter(), 1, rates, |_, _| {}))).await.unwrap_err();
        assert_eq!(found.clause, "no bytes before Syncing, then every byte in order", "{found}");
    }
}

#[cfg(feature = "manual")]
mod manual {
    use super::*;
    use crate::ManualAdapter;

    struct ManualBench(ManualAdapter);

    impl Bench for ManualBench {
        fn adapter(&self) -> &dyn Adapter {
            &self.0
        }
        fn selector(&self) -> String {
            "manual:bench".to_owned()
        }
        fn sample(&self) -> Vec<u8> {
            b"capacitance=39.4 uF\n".to_vec()
        }
        fn feed(&mut self, _sample: &[u8]) {
            self.0.entry("bench").enter("capacitance", "39.4 uF").unwrap();
        }
    }

    #[tokio::test]
    async fn manual() {
        check(&mut ManualBench(ManualAdapter::new())).await.unwrap();
    }
}

/// The check bites: adapters that break one clause each are found out.
#[cfg(feature = "sim")]
mod breaches {
    use std::task::{Context, Poll};

    use super::*;
    use crate::{Counters, Found, Link, LinkEvent, OpenError, OpenOptions, Selector, SimAdapter, Steps};

    /// What the broken adapter does with each event.
    type Spoil = fn(LinkEvent) -> LinkEvent;

    struct Broken(SimAdapter, Spoil, bool);
    struct BrokenLink(Box<dyn Link>, Spoil);

    impl Adapter for Broken {
        fn scheme(&self) -> &'static str {
            "sim"
        }
        fn list(&self) -> Vec<Found> {
            let selector = if self.2 { "other:x".parse().ok() } else { None };
            vec![Found { selector, description: String::new(), hindrance: None }]
        }
        fn check(&self, selector: &Selector) -> Result<(), OpenError> {
            self.0.check(selector)
        }
        fn open(&self, selector: &Selector, options: &OpenOptions) -> Result<Box<dyn Link>, OpenError> {
            Ok(Box::new(BrokenLink(self.0.open(selector, options)?, self.1)))
        }
    }

    impl Link for BrokenLink {
        fn selector(&self) -> &Selector {
            self.0.selector()
        }
        fn poll_event(&mut self, cx: &mut Context<'_>) -> Poll<Option<LinkEvent>> {
            self.0.poll_event(cx).map(|event| event.map(self.1))
        }
        fn counters(&self) -> Counters {
            self.0.counters()
        }
    }

    struct BrokenBench(Broken);

    impl Bench for BrokenBench {
        fn adapter(&self) -> &dyn Adapter {
            &self.0
        }
        fn selector(&self) -> String {
            "sim:m".to_owned()
        }
        fn sample(&self) -> Vec<u8> {
            b"abc".to_vec()
        }
        fn lose(&mut self) -> bool {
            true
        }
    }

    #[tokio::test(start_paused = true)]
    async fn are_found() {
        let swapped: Spoil = |event| match event {
            LinkEvent::Bytes(mut bytes) => {
                bytes.reverse();
                LinkEvent::Bytes(bytes)
            }
            other => other,
        };
        let loss_hidden: Spoil = |event| match event {
            LinkEvent::Gap(_) => LinkEvent::Bytes(b"late".to_vec()),
            other => other,
        };
        for (spoil, lists_wrong, clause) in [
            (swapped, false, "no bytes before Syncing, then every byte in order"),
            (loss_hidden, false, "a loss is one gap, then the state that says why"),
            ((|event| event) as Spoil, true, "a listed selector is one that the adapter opens"),
        ] {
            let sim =
                SimAdapter::new().with("m", || Steps::repeat(vec![Step::send(1, "abc"), Step::unplug(10)]));
            let found = check(&mut BrokenBench(Broken(sim, spoil, lists_wrong))).await.unwrap_err();
            assert_eq!(found.clause, clause, "{found}");
        }
    }
}
