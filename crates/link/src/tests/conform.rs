//! Every adapter against the contract, each in a few lines.

use crate::Adapter;
#[cfg(feature = "sim")]
use crate::Step;
use crate::conformance::{Fixture, verify};

#[cfg(all(feature = "serial", feature = "sim", unix))]
mod serial {
    use super::*;
    use crate::tests::TestDir;
    use crate::{PtyMeter, PtyOptions, SerialAdapter, Steps, WhenFull};

    struct SerialFixture(SerialAdapter, PtyMeter);

    impl Fixture for SerialFixture {
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
        verify(&mut SerialFixture(SerialAdapter::new(), meter)).await.unwrap();
    }
}

#[cfg(feature = "tcp")]
mod tcp {
    use std::io::Write as _;
    use std::net::{TcpListener, TcpStream};

    use super::*;
    use crate::TcpAdapter;

    /// The server and its side of the newest connection.
    struct TcpFixture(TcpAdapter, TcpListener, Option<TcpStream>);

    impl Fixture for TcpFixture {
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
        verify(&mut TcpFixture(TcpAdapter::new(), server, None)).await.unwrap();
    }
}

#[cfg(feature = "file")]
mod file {
    use super::*;
    use crate::FileAdapter;
    use crate::tests::TestDir;

    struct FileFixture(TestDir);

    impl Fixture for FileFixture {
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
        verify(&mut FileFixture(TestDir::new())).await.unwrap();
    }
}

#[cfg(feature = "stdin")]
mod stdin {
    use super::*;
    use crate::StdinAdapter;

    struct StdinFixture(StdinAdapter);

    impl Fixture for StdinFixture {
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
        verify(&mut StdinFixture(StdinAdapter::new())).await.unwrap();
    }
}

#[cfg(feature = "sim")]
mod sim {
    use super::*;
    use crate::{FaultRates, FaultyAdapter, SimAdapter, Steps, TracedAdapter};

    struct SimFixture<A>(A);

    impl<A: Adapter> Fixture for SimFixture<A> {
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
        verify(&mut SimFixture(adapter())).await.unwrap();
    }

    #[tokio::test(start_paused = true)]
    async fn traced() {
        verify(&mut SimFixture(TracedAdapter::new(adapter(), |_, _| {}))).await.unwrap();
    }

    #[tokio::test(start_paused = true)]
    async fn faulty_without_faults() {
        verify(&mut SimFixture(FaultyAdapter::new(adapter(), 1, FaultRates::default(), |_, _| {})))
            .await
            .unwrap();
    }

    /// The injector does something: with faults the contract's "every byte in order" is broken.
    #[tokio::test(start_paused = true)]
    async fn faulty_with_faults() {
        let rates = FaultRates { flip_per_million: 10_000, ..FaultRates::default() };
        let found =
            verify(&mut SimFixture(FaultyAdapter::new(adapter(), 1, rates, |_, _| {}))).await.unwrap_err();
        assert_eq!(found.clause, "no bytes before Syncing, then every byte in order", "{found}");
    }
}

#[cfg(feature = "manual")]
mod manual {
    use super::*;
    use crate::ManualAdapter;

    struct ManualFixture(ManualAdapter);

    impl Fixture for ManualFixture {
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
        verify(&mut ManualFixture(ManualAdapter::new())).await.unwrap();
    }
}

/// The check bites: adapters that break one clause each are found out.
#[cfg(feature = "sim")]
mod breaches {
    use std::task::{Context, Poll};

    use super::*;
    use crate::{Found, Link, LinkCounters, LinkEvent, OpenError, OpenOptions, Selector, SimAdapter, Steps};

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
        fn validate(&self, selector: &Selector) -> Result<(), OpenError> {
            self.0.validate(selector)
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
        fn counters(&self) -> LinkCounters {
            self.0.counters()
        }
    }

    struct BrokenFixture(Broken);

    impl Fixture for BrokenFixture {
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
            let found = verify(&mut BrokenFixture(Broken(sim, spoil, lists_wrong))).await.unwrap_err();
            assert_eq!(found.clause, clause, "{found}");
        }
    }
}
