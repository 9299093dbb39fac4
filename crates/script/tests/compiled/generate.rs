//! Well-formed rules by chance: every statement, operator and kind of value of the rule language, in combinations that
//! nobody would write.

/// `SplitMix64` (Steele, Lea, Flood 2014).
pub(crate) struct Dice(pub(crate) u64);

impl Dice {
    pub(crate) fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    pub(crate) fn below(&mut self, n: usize) -> usize {
        (self.next() % n as u64) as usize
    }

    pub(crate) fn unit(&mut self) -> f64 {
        (self.next() >> 11) as f64 / (1u64 << 53) as f64
    }

    pub(crate) fn pick<T: Clone>(&mut self, list: &[T]) -> T {
        list[self.below(list.len())].clone()
    }
}

/// Plain numbers, which go with everything: units have tests of their own.
pub(crate) const HEADER: &str = r#"title("T"); about("a");
nameplate("p", "1"); nameplate("q", "1", 5, "physics: of a test"); choice("kind", ["copper", "aluminium", "gold"]);
choice("metal", ["aluminium", "copper"]);
reads("x", "1"); reads("y", "1"); reads("z", "1");
limit("l", 2, "1", "common practice: of a test"); limit("k", 0.5, "1", "physics: of a test");
"#;

/// The names that a block may use.
#[derive(Clone, Default)]
struct Scope {
    numbers: Vec<String>,
    flags: Vec<String>,
    /// Words of `level_of`.
    words: Vec<String>,
    texts: Vec<String>,
    /// In `judge`, where the groups of values are known.
    judges: bool,
    /// What `return` gives here.
    returns: Returns,
}

#[derive(Clone, Copy, Default, PartialEq)]
enum Returns {
    #[default]
    Number,
    Flag,
    Judgement,
    Answer,
}

pub(crate) struct Generator {
    pub(crate) dice: Dice,
    names: usize,
    /// Sizes left: bounds the text.
    budget: usize,
}

impl Generator {
    pub(crate) fn new(seed: u64) -> Self {
        Self { dice: Dice(seed), names: 0, budget: 0 }
    }

    /// One rule.
    pub(crate) fn rule(&mut self) -> String {
        self.names = 0;
        self.budget = 60 + self.dice.below(120);
        let judge = self.judge();
        let mut text = format!("{HEADER}{judge}");
        for (name, returns) in
            [("f", Returns::Number), ("g", Returns::Judgement), ("h", Returns::Answer), ("k", Returns::Flag)]
        {
            self.budget = 30;
            text += &self.function(name, returns);
        }
        text
    }

    fn fresh(&mut self, prefix: &str) -> String {
        self.names += 1;
        format!("{prefix}{}", self.names)
    }

    fn judge(&mut self) -> String {
        let scope = Scope {
            numbers: ["m.x", "m.y", "m.z", "plate.p", "plate.q", "limit.l", "limit.k", "acc"]
                .map(String::from)
                .into(),
            texts: vec!["txt".into()],
            judges: true,
            returns: Returns::Answer,
            ..Scope::default()
        };
        let mut early = scope.clone();
        early.numbers.pop();
        early.texts.clear();
        let mut body = format!(
            "    let acc = {};\n    let txt = {};\n    let jdg = {};\n    let ans = {};\n    let flg = {};\n",
            self.number(&early, 2),
            self.text(&early, 1),
            self.judgement(&early, 1),
            self.answer(&early, 1),
            self.condition(&early, 1),
        );
        body += &self.statements(&scope, 3);
        let last = match self.dice.below(5) {
            0 => "if flg { ans } else { jdg.low(txt) }".into(),
            1 => "if flg && acc > 0 { return ans; }\n    all_of(jdg.ok(txt).low(txt), at_most(\"last\", acc, 10).unit(\"uF\").source(\"physics: of a test\"))".into(),
            2 => format!("if acc > 1 || flg {{ return jdg.high(txt); }} else if acc < -1 {{ return ans; }}\n    {}", self.answer(&scope, 2)),
            3 => "let end = if flg { jdg.low(txt) } else { at_least(txt, acc, 0).unit(\"uF\").source(\"physics: of a test\") };\n    if acc > 5 { return ans; }\n    end.ok(\"end\")".into(),
            _ => "if acc < 3 { if flg { ans } else { no_verdict(txt) } } else { jdg }".into(),
        };
        // Whatever is set is used.
        let used = "if acc > 1e6 && flg { return ans; } else if acc < -1e6 { return jdg.ok(txt).low(txt); }";
        format!("fn judge(m, plate, limit) {{\n{body}    {used}\n    {last}\n}}\n")
    }

    fn function(&mut self, name: &str, returns: Returns) -> String {
        let mut scope = Scope { numbers: vec!["a".into(), "b".into()], returns, ..Scope::default() };
        let mut body = format!("    let acc = {};\n", self.number(&scope, 1));
        scope.numbers.push("acc".into());
        body += &self.statements(&scope, 2);
        let last = self.given(&scope, 2);
        format!(
            "fn {name}(a, b) {{\n{body}    if acc > b {{ return {}; }}\n    {last}\n}}\n",
            self.given(&scope, 1)
        )
    }

    fn given(&mut self, scope: &Scope, depth: usize) -> String {
        match scope.returns {
            Returns::Number => self.number(scope, depth),
            Returns::Flag => self.condition(scope, depth),
            Returns::Judgement => self.judgement(scope, depth),
            Returns::Answer => self.answer(scope, depth),
        }
    }

    /// Statements of a block; whatever they set is used before it ends.
    fn statements(&mut self, outer: &Scope, depth: usize) -> String {
        let mut scope = outer.clone();
        let mut text = String::new();
        let mut uses = String::new();
        for _ in 0..1 + self.dice.below(4) {
            if self.budget == 0 {
                break;
            }
            self.budget -= 1;
            match self.dice.below(if scope.judges { 12 } else { 7 }) {
                0 | 1 => {
                    let name = self.fresh("n");
                    let keyword = self.dice.pick(&["let", "const"]);
                    text += &format!("{keyword} {name} = {};\n", self.number(&scope, 2));
                    uses += &format!("acc {} {name};\n", self.dice.pick(&["+=", "-=", "=", "*="]));
                    scope.numbers.push(name);
                }
                2 => {
                    let name = self.fresh("b");
                    text += &format!("let {name} = {};\n", self.condition(&scope, 2));
                    uses += &format!("if {name} {{ acc += 1; }}\n");
                    scope.flags.push(name);
                }
                3 => {
                    let name = self.fresh("w");
                    text += &format!("let {name} = {};\n", self.word(&scope, 1));
                    uses += &format!("if {name} == \"low\" {{ acc -= 1; }}\n");
                    scope.words.push(name);
                }
                4 => {
                    let sign = self.dice.pick(&["=", "+=", "-=", "*=", "/=", "%=", "**="]);
                    text += &format!("acc {sign} {};\n", self.number(&scope, 2));
                }
                5 if depth > 0 => {
                    let condition = self.condition(&scope, 2);
                    text += &format!("if {condition} {{\n{}}}", self.statements(&scope, depth - 1));
                    if self.dice.below(2) == 0 {
                        text += &format!(" else {{\n{}}}", self.statements(&scope, depth - 1));
                    }
                    text += "\n";
                }
                6 => {
                    let condition = self.condition(&scope, 2);
                    text += &format!("if {condition} {{ return {}; }}\n", self.given(&scope, 1));
                }
                7 => text += &format!("txt = {};\n", self.text(&scope, 1)),
                8 => text += &format!("jdg = {};\n", self.judgement(&scope, 1)),
                9 => {
                    text += &format!(
                        "jdg = jdg.low(txt).{}({});\n",
                        self.dice.pick(&["low", "high", "ok"]),
                        self.text(&scope, 1)
                    )
                }
                10 => text += &format!("ans = {};\n", self.answer(&scope, 1)),
                11 => text += &format!("flg = {};\n", self.condition(&scope, 2)),
                _ => {}
            }
        }
        text + uses.as_str()
    }

    fn literal(&mut self) -> String {
        if self.dice.below(6) == 0 {
            return self.dice.pick(&["0", "-0.0", "1e300", "5e-324", "-7", "1e-9"]).into();
        }
        self.dice.pick(&["1", "-1", "0.1", "3", "2.5", "100", "0.5", "40"]).into()
    }

    fn number(&mut self, scope: &Scope, depth: usize) -> String {
        if depth == 0 || self.dice.below(4) == 0 {
            return if self.dice.below(3) == 0 { self.literal() } else { self.dice.pick(&scope.numbers) };
        }
        let d = depth - 1;
        match self.dice.below(14) {
            0..=3 => {
                let sign = self.dice.pick(&["+", "-", "*", "/", "%", "**", "+", "-", "*", "+", "-"]);
                format!("({} {sign} {})", self.number(scope, d), self.number(scope, d))
            }
            4 => format!("-({})", self.number(scope, d)),
            5 => {
                let name = self.dice.pick(&["abs", "sqrt", "floor", "ceil", "round", "exp", "ln", "sin"]);
                format!("{name}({})", self.number(scope, d))
            }
            6 => {
                let name = self.dice.pick(&["min", "max"]);
                format!("{name}({}, {})", self.number(scope, d), self.number(scope, d))
            }
            7 => {
                let name = self.dice.pick(&["middle", "max", "middle", "pole_ratio"]);
                format!(
                    "{name}({}, {}, {})",
                    self.number(scope, d),
                    self.number(scope, d),
                    self.number(scope, d)
                )
            }
            8 => format!("posterior_u({}, {})", self.number(scope, d), self.number(scope, d)),
            9 => {
                let (a, b, c) = (self.number(scope, d), self.number(scope, d), self.number(scope, d));
                format!("peer_score({a}, [{b}, {c}, {a}, 3], {})", self.number(scope, d))
            }
            10 if scope.judges => {
                let metal = self.dice.pick(&["plate.metal", "\"copper\""]);
                format!(
                    "(winding_at_ohm({}, {}, 40, {metal}) * limit.k)",
                    self.number(scope, d),
                    self.number(scope, d)
                )
            }
            11 if scope.judges => format!("f({}, {})", self.number(scope, d), self.number(scope, d)),
            12 => format!(
                "if {} {{ {} }} else {{ {} }}",
                self.condition(scope, d),
                self.number(scope, d),
                self.number(scope, d)
            )
            .pipe(|text| format!("max({text}, {})", self.number(scope, 0))),
            _ if scope.judges && scope.numbers.contains(&"acc".to_owned()) => {
                let value = self.number(scope, d);
                let name = self.dice.pick(&["min", "max"]);
                format!("{name}(acc, {{ acc += {value}; acc }})")
            }
            _ => self.number(scope, d),
        }
    }

    fn condition(&mut self, scope: &Scope, depth: usize) -> String {
        if depth == 0 || self.dice.below(3) == 0 {
            let sign = self.dice.pick(&["<", "<=", ">", ">="]);
            return format!("{} {sign} {}", self.number(scope, depth.min(1)), self.number(scope, 0));
        }
        let d = depth - 1;
        match self.dice.below(9) {
            0 | 1 => format!("({}) && ({})", self.condition(scope, d), self.condition(scope, d)),
            2 => format!(
                "({}) || ({}) || ({})",
                self.condition(scope, d),
                self.condition(scope, d),
                self.condition(scope, d)
            ),
            3 => format!("!({})", self.condition(scope, d)),
            4 => {
                let sign = self.dice.pick(&["==", "!="]);
                format!("({}) {sign} ({})", self.condition(scope, d), self.condition(scope, d))
            }
            5 if scope.judges => {
                let sign = self.dice.pick(&["==", "!="]);
                format!("plate.kind {sign} \"{}\"", self.dice.pick(&["copper", "gold"]))
            }
            6 => {
                let sign = self.dice.pick(&["==", "!="]);
                format!("{} {sign} {}", self.word(scope, d), self.word(scope, d))
            }
            7 if scope.judges => format!("k({}, {})", self.number(scope, d), self.number(scope, d)),
            8 if !scope.flags.is_empty() => self.dice.pick(&scope.flags),
            _ => self.dice.pick(&["true", "false"]).into(),
        }
    }

    fn word(&mut self, scope: &Scope, depth: usize) -> String {
        if !scope.words.is_empty() && self.dice.below(2) == 0 {
            return self.dice.pick(&scope.words);
        }
        let n = |generator: &mut Self| generator.number(scope, depth.min(1));
        format!("level_of({}, {}, {})", n(self), n(self), n(self))
    }

    fn text(&mut self, scope: &Scope, depth: usize) -> String {
        if depth > 0 && self.dice.below(3) == 0 {
            let (a, b) = (self.text(scope, 0), self.text(scope, 0));
            return format!("if {} {{ {a} }} else {{ {b} }}", self.condition(scope, depth));
        }
        if !scope.texts.is_empty() && self.dice.below(2) == 0 {
            return self.dice.pick(&scope.texts);
        }
        format!("\"{}\"", self.dice.pick(&["x", "y", "one", "two", "three"]))
    }

    fn judgement(&mut self, scope: &Scope, depth: usize) -> String {
        let choice = self.dice.below(if depth == 0 { 4 } else { 7 });
        if choice >= 5 {
            let (a, b) = (self.judgement(scope, depth - 1), self.judgement(scope, depth - 1));
            return format!("if {} {{ {a} }} else {{ {b} }}", self.condition(scope, depth));
        }
        if choice == 4 && scope.judges {
            return format!(
                "g({}, {}).ok({})",
                self.number(scope, 1),
                self.number(scope, 1),
                self.text(scope, 1)
            );
        }
        let name = if self.dice.below(4) == 0 { self.text(scope, 1) } else { self.text(scope, 0) };
        let value = self.number(scope, depth);
        let made = match choice {
            0 => format!("at_least({name}, {value}, {})", self.number(scope, 1)),
            1 => format!("at_most({name}, {value}, {})", self.number(scope, 1)),
            _ => {
                let low = self.number(scope, 1);
                format!("within({name}, {value}, {low}, {low} + abs({}))", self.number(scope, 0))
            }
        };
        let unit = self.dice.pick(&["uF", "nF", "V"]);
        let source = self.dice.pick(&["physics: of a test", "memory: another"]);
        format!("{made}.unit(\"{unit}\").source(\"{source}\").high({})", self.text(scope, depth))
    }

    fn answer(&mut self, scope: &Scope, depth: usize) -> String {
        let d = depth.saturating_sub(1);
        match self.dice.below(if depth == 0 { 3 } else { 6 }) {
            0 => format!("no_verdict({})", self.text(scope, depth)),
            1 => format!("all_of({}, {})", self.judgement(scope, d), self.judgement(scope, d)),
            2 => {
                let names = ["\"a\"", "\"b\"", "\"c\""].map(|name| {
                    format!(
                        "at_most({name}, {}, 1e9).unit(\"uF\").source(\"physics: t\")",
                        self.number(scope, 1)
                    )
                });
                format!("all_of({})", names.join(", "))
            }
            3 if scope.judges => format!("h({}, {})", self.number(scope, 1), self.number(scope, 1)),
            _ => {
                let (a, b) = (self.answer(scope, d), self.answer(scope, d));
                format!("if {} {{ {a} }} else {{ {b} }}", self.condition(scope, d))
            }
        }
    }
}

trait Pipe: Sized {
    fn pipe<T>(self, f: impl FnOnce(Self) -> T) -> T {
        f(self)
    }
}

impl Pipe for String {}
