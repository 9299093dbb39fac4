//! The command line: commands, options, help with examples. Does nothing itself.

use std::path::PathBuf;

use clap::{Args, Parser, Subcommand, ValueEnum};

#[cfg(feature = "demo")]
use crate::sys::meter_line;
use crate::sys::{any_port, port_example};

/// Turns a meter reading into a verdict: pass, conditional pass, conditional fail, fail, or why there is none yet.
#[derive(Debug, Parser)]
#[command(
    name = "cliplead",
    version,
    arg_required_else_help = true,
    after_help = "\
Examples:
  cliplead demo                              a round with a simulated meter, page and stdout
  cliplead judge run-capacitor --plate capacitance=40uF --reading capacitance=39.4uF --confirm all
  cliplead run site.toml                     the daemon
  cliplead replay visit.jsonl                the same verdicts from a recording

Exit codes: 0 fine; 1 a fail, a conditional fail, or an expectation not met; 2 could not run; 3 no verdict.
cliplead judges numbers. It replaces neither local codes nor licensed practice nor the site's lockout procedure."
)]
pub(crate) struct Cli {
    #[command(subcommand)]
    pub(crate) command: Command,
    /// More talk on stderr; twice for even more
    #[arg(short, long, action = clap::ArgAction::Count, global = true)]
    pub(crate) verbose: u8,
}

#[derive(Debug, Subcommand)]
pub(crate) enum Command {
    #[command(about = concat!("Run a whole round with a simulated meter ", meter_line!()))]
    #[cfg(feature = "demo")]
    Demo(DemoOptions),
    /// The daemon: devices, rules, history and dashboard from a file
    Run(RunOptions),
    /// One verdict from the command line
    Judge(JudgeOptions),
    /// Verdicts from recordings, as fast as it goes, the same bytes each time
    Replay(ReplayOptions),
    /// List, check or test rules
    Rules(RulesOptions),
    /// What is attached, and what it says
    Devices(DevicesOptions),
    /// The trade's formulas: list, explain, compute
    Calc(CalcOptions),
    /// Under what terms the program and all it holds from others come, with every text
    #[command(alias = "licenses")]
    Licences,
}

/// How answers are written.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, ValueEnum)]
pub(crate) enum Format {
    /// For people
    #[default]
    Text,
    /// For programs: one JSON object a line
    Json,
}

#[derive(Debug, Args)]
#[command(after_help = "\
The round plays on a made-up site. Good, marginal, bad, in-circuit and wrong parts and a bad lead come up; each ends with
the verdict the scenario expects, or the exit code is 1.

Examples:
  cliplead demo
  cliplead demo --stay            leaves the page up until Ctrl-C
  cliplead demo --format json --record visit.jsonl")]
pub(crate) struct DemoOptions {
    /// Leave the page up at the end, until Ctrl-C
    #[arg(long)]
    pub(crate) stay: bool,
    /// Where the page listens
    #[arg(long, default_value = "127.0.0.1:0", value_name = "ADDRESS")]
    pub(crate) dashboard: std::net::SocketAddr,
    /// Where verdicts are stored [default: a file in the folder for temporary files, removed at the end]
    #[arg(long, value_name = "FILE")]
    pub(crate) history: Option<PathBuf>,
    /// Write a recording of the round
    #[arg(long, value_name = "FILE")]
    pub(crate) record: Option<PathBuf>,
    /// How verdicts are written
    #[arg(long, value_enum, default_value_t)]
    pub(crate) format: Format,
}

#[derive(Debug, Args)]
#[command(after_help = concat!("\
The file (TOML), all but one device or check optional:

  site = \"Mill Yard\"
  rules = \"rules\"                      # folder of *.rhai; without it the built-in rules
  history = \"history.sqlite\"           # without it nothing is stored, and the start says so
  dashboard = \"127.0.0.1:8630\"         # without it no page
  decision = \"guarded\"                 # or \"simple\"
  coverage_factor = 2.0
  risk = 0.001

  [[device]]
  name = \"meter\"
  selector = \"", port_example!(), "\"
  profile = \"meter.toml\"               # or profile = \"generic-line-meter\", built in

  [[device]]
  name = \"typed\"                       # values typed on stdin, or on the page: capacitance=39.4uF
  selector = \"stdin:\"                  # (page alone: \"manual:\")
  typed = true
  profile = \"generic-line-meter\"       # the meter they are read off: lends its accuracy

  [[check]]                             # the route, in order
  unit = \"RTU-07\"
  component = \"condenser fan 1 run capacitor\"
  rule = \"run-capacitor\"
  plate = { capacitance = \"12.5 uF\", tolerance = \"6 %\" }

Examples:
  cliplead run site.toml
  cliplead run site.toml --record visit.jsonl --format json"))]
pub(crate) struct RunOptions {
    /// The site's file
    pub(crate) config: PathBuf,
    /// Write a recording of everything the devices send and the people do
    #[arg(long, value_name = "FILE")]
    pub(crate) record: Option<PathBuf>,
    /// How verdicts are written
    #[arg(long, value_enum, default_value_t)]
    pub(crate) format: Format,
    /// Start only when the history can be written, every rule loads and every check has its rule. Without this the
    /// measuring starts anyway, says what is wrong, and the exit code at the end is 2
    #[arg(long)]
    pub(crate) strict: bool,
}

#[derive(Debug, Args)]
#[command(after_help = "\
Hold points are confirmed by saying so: --confirm all, or by name. Without them there is no verdict.

Examples:
  cliplead judge run-capacitor --plate capacitance=40uF --reading capacitance=39.4uF \\
      --accuracy capacitance='1.9% + 2 x 0.01uF' --confirm all
  cliplead judge residual-voltage --reading residual='2.1 V dc' --accuracy residual='0.5% + 2' \\
      --confirm 'locked out,leads proved,proved dead' --format json")]
pub(crate) struct JudgeOptions {
    /// The rule's id, see `cliplead rules list`
    pub(crate) rule: String,
    /// Folder of rules instead of the built-in ones
    #[arg(long, value_name = "DIR")]
    pub(crate) rules: Option<PathBuf>,
    /// A nameplate value, NAME=VALUE with unit; may stand several times
    #[arg(long, value_name = "NAME=VALUE")]
    pub(crate) plate: Vec<String>,
    /// A reading, NAME=VALUE with unit; may stand several times
    #[arg(long, value_name = "NAME=VALUE")]
    pub(crate) reading: Vec<String>,
    /// The meter's accuracy for a reading, NAME='1.9% + 2 x 0.01uF'; without it only the digits' rounding counts
    #[arg(long, value_name = "NAME=ACCURACY")]
    pub(crate) accuracy: Vec<String>,
    /// Hold points that were shown: all, or names separated by commas
    #[arg(long, value_name = "all|NAME,...")]
    pub(crate) confirm: Vec<String>,
    /// The values are right as they stand: answer every question with yes
    #[arg(long)]
    pub(crate) sure: bool,
    /// Simple acceptance instead of guard bands
    #[arg(long)]
    pub(crate) simple: bool,
    /// How the verdict is written
    #[arg(long, value_enum, default_value_t)]
    pub(crate) format: Format,
}

#[derive(Debug, Args)]
#[command(after_help = "\
Examples:
  cliplead replay visit.jsonl
  cliplead replay visit.jsonl --expect expected.txt      only the differing lines are shown
  cliplead replay spring/*.jsonl --rules rules.new --format json")]
pub(crate) struct ReplayOptions {
    /// Recordings (JSON Lines), each a round of its own
    #[arg(required = true, value_name = "RECORDING")]
    pub(crate) recordings: Vec<PathBuf>,
    /// Folder of rules instead of the built-in ones
    #[arg(long, value_name = "DIR")]
    pub(crate) rules: Option<PathBuf>,
    /// The verdict lines that must come out; exit 1 when they differ
    #[arg(long, value_name = "FILE")]
    pub(crate) expect: Option<PathBuf>,
    /// How verdicts are written
    #[arg(long, value_enum, default_value_t)]
    pub(crate) format: Format,
}

#[derive(Debug, Args)]
#[command(after_help = "\
Without DIR the built-in rules are meant (for test: the folder `rules` here, since cases are not built in).

Examples:
  cliplead rules list
  cliplead rules check rules
  cliplead rules test rules")]
pub(crate) struct RulesOptions {
    #[command(subcommand)]
    pub(crate) command: RulesCommand,
}

#[derive(Debug, Subcommand)]
pub(crate) enum RulesCommand {
    /// Name every rule with what it needs
    List(RulesFolder),
    /// Load every rule and say every problem with file and line; needs no device
    Check(RulesFolder),
    /// Run the cases beside the rules
    Test(RulesFolder),
}

#[derive(Debug, Args)]
pub(crate) struct RulesFolder {
    /// Folder of *.rhai files (and *.cases.toml beside them)
    pub(crate) dir: Option<PathBuf>,
    /// How the answer is written
    #[arg(long, value_enum, default_value_t)]
    pub(crate) format: Format,
}

#[derive(Debug, Args)]
#[command(after_help = "\
Every formula a rule can call, under the same name. Values carry units (40uF, 4.2A, 75°F); a bare number is in the unit
that the formula names. `list` names all, `reference` and `definitions` print the files of the folder rules, `-` computes
each line of stdin.

Examples:
  cliplead calc list
  cliplead calc capacitance_under_load_uF
  cliplead calc capacitance_under_load_uF amps=6.1A volts=371V hertz=60Hz
  cliplead calc windings_finding one_two=open one_three=open two_three=4.1ohm overload=inside
  cliplead calc unbalance_pct first=462V second=463V third=455V --format json

Exit codes: 0 computed; 2 an unknown name, a value that does not fit.")]
pub(crate) struct CalcOptions {
    /// `list`, `-`, or a formula's name
    pub(crate) name: String,
    /// The values: NAME=VALUE with unit; none: what the formula takes
    #[arg(value_name = "NAME=VALUE")]
    pub(crate) values: Vec<String>,
    /// How the answer is written
    #[arg(long, value_enum, default_value_t)]
    pub(crate) format: Format,
}

#[derive(Debug, Args)]
#[command(after_help = concat!("\
Examples:
  cliplead devices list
  cliplead devices doctor --config site.toml     what is in the way, and the command that mends it
  cliplead devices watch meter --config site.toml
  cliplead devices watch ", port_example!(), " --profile generic-line-meter
  cliplead devices learn ", port_example!(), " --write bench-meter"))]
pub(crate) struct DevicesOptions {
    #[command(subcommand)]
    pub(crate) command: DevicesCommand,
}

#[derive(Debug, Subcommand)]
pub(crate) enum DevicesCommand {
    /// What is attached now, and the selector to write for it
    List {
        /// Also scan for Bluetooth LE meters in range, about 4 s; connects to nothing and switches no radio on. With a scheme, by
        /// that one: --scan=ble+portable
        #[arg(long, value_name = "SCHEME", num_args = 0..=1, require_equals = true, default_missing_value = "ble")]
        scan: Option<String>,
        /// How the list is written
        #[arg(long, value_enum, default_value_t)]
        format: Format,
    },
    /// Bytes, readings and drops of one device as they come, until Ctrl-C
    Watch(WatchOptions),
    /// What stands between the program and a meter, and the command that mends it
    Doctor(DoctorOptions),
    /// Work out the profile of a meter that no profile covers, from its bytes and its display
    Learn(LearnOptions),
}

#[derive(Debug, Args)]
#[command(after_help = "\
Looks at files only: no port is opened, nothing is scanned, nothing is changed. With --config it looks at what the site
uses, and connects once to the serial servers it names. Access lists and TIOCEXCL cannot be seen; what could not be looked
at is said and never called fine.

Exit codes: 0 nothing hinders; 1 something does, or likely does; 2 could not run.

Examples:
  cliplead devices doctor
  cliplead devices doctor --config site.toml --format json
  cliplead devices doctor --fix --dry-run          what --fix would run; changes nothing
  sudo cliplead devices doctor --fix               runs it one by one, asking before each")]
pub(crate) struct DoctorOptions {
    /// The site's file: looks at what it names, and only at the kinds of devices it uses
    #[arg(long, value_name = "FILE")]
    pub(crate) config: Option<PathBuf>,
    /// The account that is to use the meter [default: whoever calls, also through sudo]
    #[arg(long, value_name = "NAME")]
    pub(crate) user: Option<String>,
    /// Run the remedies that are safe to run, one by one, asking before each; most need root
    #[arg(long)]
    pub(crate) fix: bool,
    /// With --fix: show exactly what would be run, and run nothing
    #[arg(long, requires = "fix")]
    pub(crate) dry_run: bool,
    /// With --fix: answer every question with yes
    #[arg(long, requires = "fix")]
    pub(crate) yes: bool,
    /// Print the udev rule for serial ports, and nothing else
    #[arg(long, conflicts_with_all = ["config", "fix", "user", "format", "root"])]
    pub(crate) rule: bool,
    /// Look at another machine's files: an image, a mounted disk. Nothing is run on it
    #[arg(long, value_name = "DIR")]
    pub(crate) root: Option<PathBuf>,
    /// How the findings are written
    #[arg(long, value_enum, default_value_t)]
    pub(crate) format: Format,
}

#[derive(Debug, Args)]
#[command(after_help = concat!("\
Records the meter's bytes, finds how they are framed, and asks what the display showed meanwhile. One value never tells
enough: change the value, then the function, and say each. With --write a new folder holds the profile, the recording
and what it decodes to. Nothing is written unless the profile gives back all that was shown.

Examples:
  cliplead devices learn ", port_example!(), " --write bench-meter
  cliplead devices learn ", port_example!(), " --try-bauds
  cliplead devices learn --from stream.hex --shows '0.5..2.7=38.52 uF' --shows '4..4.3=4.7 ohm' --write bench-meter

Exit codes: 0 a profile was found (or, with nothing shown, a framing); 1 none, and what to do next; 2 could not run."))]
pub(crate) struct LearnOptions {
    #[arg(required_unless_present = "from", conflicts_with = "from", help = concat!("A selector such as ", any_port!()))]
    pub(crate) selector: Option<String>,
    /// Learn from a file instead: a stream.hex, a recording (.jsonl, of one device) or raw bytes
    #[arg(long, value_name = "FILE")]
    pub(crate) from: Option<PathBuf>,
    /// What the display shows, all digits, with unit: '12.46 uF', 'OL', '12.46 uF hold'; FROM..TO= before it says when,
    /// in seconds, else each takes an equal share of the time. Without it you are asked
    #[arg(long, value_name = "[FROM..TO=]TEXT")]
    pub(crate) shows: Vec<String>,
    /// How long each recording lasts, 1 to 600
    #[arg(long, value_name = "SECONDS", default_value_t = 10, value_parser = clap::value_parser!(u64).range(1..=600))]
    pub(crate) seconds: u64,
    /// End each recording after so many bytes
    #[arg(long, value_name = "N", default_value_t = 65_536, value_parser = clap::value_parser!(u64).range(1..=262_144))]
    pub(crate) bytes: u64,
    /// Baud rate of a serial port (8 data bits, no parity, 1 stop bit)
    #[arg(long, value_name = "RATE", default_value_t = 9_600)]
    pub(crate) baud: u32,
    /// Try the usual baud rates first and go on with the best
    #[arg(long, conflicts_with = "from")]
    pub(crate) try_bauds: bool,
    /// Write the class into this new folder; its name, in lower case with hyphens, is the profile's id
    #[arg(long, value_name = "DIR")]
    pub(crate) write: Option<PathBuf>,
    /// How the findings are written
    #[arg(long, value_enum, default_value_t)]
    pub(crate) format: Format,
}

#[derive(Debug, Args)]
pub(crate) struct WatchOptions {
    #[arg(help = concat!("A device's name in the site's file, or a selector such as ", any_port!()))]
    pub(crate) name: String,
    /// The site's file that names the device
    #[arg(long, value_name = "FILE")]
    pub(crate) config: Option<PathBuf>,
    /// The device's profile (file, or the name of a built-in one); without it bytes alone are shown
    #[arg(long, value_name = "PROFILE")]
    pub(crate) profile: Option<String>,
    /// Stop after so many readings (chunks of bytes without a profile)
    #[arg(long, value_name = "N")]
    pub(crate) count: Option<u64>,
    /// How it is written
    #[arg(long, value_enum, default_value_t)]
    pub(crate) format: Format,
}
