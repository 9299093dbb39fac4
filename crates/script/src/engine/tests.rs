//! The second wall by itself: hostile texts and silent falsehoods straight on the engine, without the check before it.
#![allow(clippy::print_stdout, reason = "the slowest is reported")]
use super::*;
use crate::Limits;
use crate::run::{Run, RunHandle};
use alloc::string::String;
use alloc::vec::Vec;
use rhai::{CallFnOptions, Dynamic, Scope};
use std::time::Duration;

fn evaluate(text: &str) -> Result<Dynamic, String> {
    let sandbox = Sandbox::new();
    let ast = sandbox.engine.compile(text).map_err(|error| error.to_string())?;
    sandbox.engine.eval_ast::<Dynamic>(&ast).map_err(|error| error.to_string())
}

#[test]
fn hostile_texts_end_without_the_check() {
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/../../tests/hostile-rules");
    let mut files: Vec<_> = std::fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path()).collect();
    files.sort();
    assert_eq!(files.len(), 51);
    let mut slowest = (Duration::ZERO, String::new());
    for path in files {
        let text = std::fs::read_to_string(&path).unwrap();
        let (done, wait) = std::sync::mpsc::channel();
        let run = move || {
            let start = std::time::Instant::now();
            let ended = evaluate(&text).is_err();
            let _ = done.send((start.elapsed(), ended));
        };
        std::thread::Builder::new().stack_size(2 * 1024 * 1024).spawn(run).unwrap();
        let (took, _) =
            wait.recv_timeout(Duration::from_secs(60)).unwrap_or_else(|_| panic!("{} hangs", path.display()));
        slowest = slowest.max((took, path.display().to_string()));
    }
    std::println!("slowest without the check: {slowest:?}");
}

#[test]
fn what_plain_rhai_holds_false_is_an_error() {
    for text in [
        "() < 5.0",
        "() == 0",
        "\"5\" > 4",
        "\"a\" == 1",
        "\"a\" < \"b\"",
        "'a' == 'a'",
        "1.0 / 0.0",
        "0.0 / 0.0",
        "1e999 > 5",
        "1 == 1",
        "1 != 2",
        "true < false",
        "[1] == [1]",
        "#{a: 1} == #{a: 1}",
        "let m = #{a: 1}; m.b < 5",
        "1 in [1]",
        "\"a\" + \"b\"",
        "\"a\" + 1",
        "let x = 1; x += \"a\"; x",
        "let x = \"a\"; x += \"b\"; x",
        "7 << 1",
        "1 & 1",
        "true & true",
        "-\"a\"",
        "!5",
        "2 ** 5000",
        "5 % 0",
        "undefined < 5",
        "x(1)",
        "if 1 { 2 }",
        "[1, 2] + [3]",
        "let a = [1]; a += 2; a",
    ] {
        assert!(evaluate(text).is_err(), "{text} gave {:?}", evaluate(text));
    }
    for (text, want) in [
        ("7 / 2", 3.5),
        ("2 ** 3", 8.0),
        ("let x = 1; x += 2; x *= 5; x", 15.0),
        ("5 % 3", 2.0),
        ("-(2 - 3)", 1.0),
    ] {
        assert_eq!(evaluate(text).unwrap().cast::<f64>(), want, "{text}");
    }
    for (text, want) in
        [("0.1 + 0.2 > 0.3", true), ("1 < 1.0000000000000002", true), ("true == !false", true)]
    {
        assert_eq!(evaluate(text).unwrap().cast::<bool>(), want, "{text}");
    }
}

#[test]
fn functions_rhai_brings_along_are_not_there() {
    for text in [
        "\"x\".pad(10, \"\")",
        "sleep(5)",
        "print(1)",
        "debug(1)",
        "eval(\"1\")",
        "timestamp()",
        "parse_json(\"{}\")",
        "[1].len()",
        "let a = [1]; a.push(2); a",
        "range(0, 3)",
        "blob(4)",
        "Fn(\"x\")",
        "type_of(1)",
        "1.to_string()",
        "\"a\".len()",
        "exit(1)",
        "let f = |x| x; f.call(1)",
        "5.0.sin()  .pad(1, 1)",
    ] {
        assert!(evaluate(text).is_err(), "{text} gave {:?}", evaluate(text));
    }
}

#[test]
fn every_comparison_is_recorded() {
    let sandbox = Sandbox::new();
    let ast =
        sandbox.engine.compile("fn f(a) { let b = 0; if a < 1 { b = 1; } if a >= 3 { b = 2; } b }").unwrap();
    let path = |a: f64| {
        let run = Arc::new(Run::new(&Limits::default()));
        let tag = Dynamic::from(RunHandle(Arc::clone(&run)));
        let options = CallFnOptions::new().eval_ast(false).with_tag(tag);
        sandbox.engine.call_fn_with_options::<f64>(options, &mut Scope::new(), &ast, "f", (a,)).unwrap();
        run.path()
    };
    assert_eq!(path(1.5), path(2.5));
    assert_ne!(path(0.5), path(1.5));
    assert_ne!(path(2.5), path(3.5));
    assert_ne!(path(0.5), path(3.5));
}
