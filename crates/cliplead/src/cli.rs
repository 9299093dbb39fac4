//! The command line: commands, options, help with examples. Does nothing itself.

use std::path::PathBuf;

use clap::{Args, Parser, Subcommand, ValueEnum};

#[cfg(feature = "demo")]
use crate::sys::meter_line;
use crate::sys::{any_port, port_example};

/// Turns a meter reading into a verdict: pass, conditional pass, conditional fail, fail, or no verdict and why.
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
    /// Log more to stderr (-vv for debug)
    #[arg(short, long, action = clap::ArgAction::Count, global = true)]
    pub(crate) verbose: u8,
}

#[derive(Debug, Subcommand)]
pub(crate) enum Command {
    #[command(about = concat!("Run a whole round with a simulated meter ", meter_line!()))]
    #[cfg(feature = "demo")]
    Demo(DemoOptions),
    /// Run the daemon for a site: devices, rules, history and page, as its file says
    Run(RunOptions),
    /// Give one verdict from typed values
    Judge(JudgeOptions),
    /// Replay recordings at full speed; gives the same verdicts, byte for byte
    Replay(ReplayOptions),
    /// List, check or test rules
    Rules(RulesOptions),
    /// List, watch and diagnose devices, or learn a new one
    Devices(DevicesOptions),
    /// List, explain or compute the trade's formulas
    Calc(CalcOptions),
    /// Print the licences of the program and of everything built into it
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
The round plays on a made-up site, with good, marginal, bad, in-circuit and wrong parts and a bad lead. The exit code is 1
if a part does not get the verdict that the scenario expects.

Examples:
  cliplead demo
  cliplead demo --stay            leaves the page up until Ctrl-C
  cliplead demo --format json --record visit.jsonl")]
pub(crate) struct DemoOptions {
    /// Keep the page up after the round, until Ctrl-C
    #[arg(long)]
    pub(crate) stay: bool,
    /// Address of the page
    #[arg(long, default_value = "127.0.0.1:0", value_name = "ADDRESS")]
    pub(crate) dashboard: std::net::SocketAddr,
    /// File for the verdicts [default: a temporary file, removed at the end]
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
The file is TOML. Every key is optional, but it needs a device or a check:

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
    /// Record everything that devices send and people do
    #[arg(long, value_name = "FILE")]
    pub(crate) record: Option<PathBuf>,
    /// How verdicts are written
    #[arg(long, value_enum, default_value_t)]
    pub(crate) format: Format,
    /// Start only when the history can be written, every rule loads and every check has its rule. Without
    /// this it measures anyway, reports what is wrong, and exits with code 2
    #[arg(long)]
    pub(crate) strict: bool,
}

#[derive(Debug, Args)]
#[command(after_help = "\
Confirm hold points with --confirm all, or by name. While one is open there is no verdict.

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
    /// A nameplate value with unit; can be repeated
    #[arg(long, value_name = "NAME=VALUE")]
    pub(crate) plate: Vec<String>,
    /// A reading with unit; can be repeated
    #[arg(long, value_name = "NAME=VALUE")]
    pub(crate) reading: Vec<String>,
    /// The meter's accuracy for a reading, NAME='1.9% + 2 x 0.01uF'; without it only the rounding of the digits counts
    #[arg(long, value_name = "NAME=ACCURACY")]
    pub(crate) accuracy: Vec<String>,
    /// Hold points that were shown: all, or names separated by commas
    #[arg(long, value_name = "all|NAME,...")]
    pub(crate) confirm: Vec<String>,
    /// Answer every question with yes: the values are right as given
    #[arg(long)]
    pub(crate) sure: bool,
    /// Use simple acceptance instead of guard bands
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
  cliplead replay visit.jsonl --expect expected.txt      shows only the lines that differ
  cliplead replay spring/*.jsonl --rules rules.new --format json")]
pub(crate) struct ReplayOptions {
    /// Recordings (JSON Lines), each a round of its own
    #[arg(required = true, value_name = "RECORDING")]
    pub(crate) recordings: Vec<PathBuf>,
    /// Folder of rules instead of the built-in ones
    #[arg(long, value_name = "DIR")]
    pub(crate) rules: Option<PathBuf>,
    /// File with the expected verdict lines; exit 1 when they differ
    #[arg(long, value_name = "FILE")]
    pub(crate) expect: Option<PathBuf>,
    /// How verdicts are written
    #[arg(long, value_enum, default_value_t)]
    pub(crate) format: Format,
}

#[derive(Debug, Args)]
#[command(after_help = "\
Without DIR, `list` and `check` use the built-in rules; `test` uses the folder `rules` here, since cases are not built in.

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
    /// List every rule with what it needs
    List(RulesFolder),
    /// Load every rule and report every problem with file and line
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
Computes every formula that a rule can call, under the same name. Values carry units (40uF, 4.2A, 75°F); a bare number is in
the unit that the formula names. `list` lists them, `-` computes each line of stdin, `reference` and `definitions` print the
files of the folder rules.

Examples:
  cliplead calc list
  cliplead calc capacitance_under_load_uF
  cliplead calc capacitance_under_load_uF amps=6.1A volts=371V hertz=60Hz
  cliplead calc windings_finding one_two=open one_three=open two_three=4.1ohm overload=inside
  cliplead calc unbalance_pct first=462V second=463V third=455V --format json

Exit codes: 0 computed; 2 unknown name, or a value that does not fit.")]
pub(crate) struct CalcOptions {
    /// `list`, `-`, or a formula's name
    pub(crate) name: String,
    /// Values with units; without any, explains what the formula takes
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
  cliplead devices doctor --config site.toml     what is in the way, and the command that fixes it
  cliplead devices watch meter --config site.toml
  cliplead devices watch ", port_example!(), " --profile generic-line-meter
  cliplead devices learn ", port_example!(), " --write bench-meter"))]
pub(crate) struct DevicesOptions {
    #[command(subcommand)]
    pub(crate) command: DevicesCommand,
}

#[derive(Debug, Subcommand)]
pub(crate) enum DevicesCommand {
    /// List what is attached now, with the selector of each
    List {
        /// Also scan for Bluetooth LE meters in range, about 4 s; connects to nothing and switches no radio on. A scheme selects
        /// the backend: --scan=ble+portable
        #[arg(long, value_name = "SCHEME", num_args = 0..=1, require_equals = true, default_missing_value = "ble")]
        scan: Option<String>,
        /// How the list is written
        #[arg(long, value_enum, default_value_t)]
        format: Format,
    },
    /// Show bytes, readings and drops of one device as they come, until Ctrl-C
    Watch(WatchOptions),
    /// Find what keeps the program from a meter, and the command that fixes it
    Doctor(DoctorOptions),
    /// Derive a profile for a meter that none covers, from its bytes and its display
    Learn(LearnOptions),
}

#[derive(Debug, Args)]
#[command(after_help = "\
Looks at files only: it opens no port, scans nothing and changes nothing. With --config it looks at what the site uses, and
connects once to the serial servers it names. It cannot see access lists and TIOCEXCL. What it could not look at is listed and
never called fine.

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
    /// Account that will use the meter [default: the caller, also through sudo]
    #[arg(long, value_name = "NAME")]
    pub(crate) user: Option<String>,
    /// Run the safe remedies, asking before each; most need root
    #[arg(long)]
    pub(crate) fix: bool,
    /// With --fix: print what would be run, and run nothing
    #[arg(long, requires = "fix")]
    pub(crate) dry_run: bool,
    /// With --fix: answer every question with yes
    #[arg(long, requires = "fix")]
    pub(crate) yes: bool,
    /// Print only the udev rule for serial ports
    #[arg(long, conflicts_with_all = ["config", "fix", "user", "format", "root"])]
    pub(crate) rule: bool,
    /// Look at another machine's files (an image, a mounted disk); runs nothing there
    #[arg(long, value_name = "DIR")]
    pub(crate) root: Option<PathBuf>,
    /// How the findings are written
    #[arg(long, value_enum, default_value_t)]
    pub(crate) format: Format,
}

#[derive(Debug, Args)]
#[command(after_help = concat!("\
Records the meter's bytes, finds how they are framed, and asks what the display showed meanwhile. One value is never enough:
change the value, then the function, and enter each. --write makes a new folder with the profile, the recording and what it
decodes to, but only if the profile gives back everything that was shown.

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
    /// What the display shows, all digits, with unit: '12.46 uF', 'OL', '12.46 uF hold'; FROM..TO= in front gives the
    /// time in seconds; otherwise each gets an equal share. Without it you are asked
    #[arg(long, value_name = "[FROM..TO=]TEXT")]
    pub(crate) shows: Vec<String>,
    /// How long each recording lasts, 1 to 600
    #[arg(long, value_name = "SECONDS", default_value_t = 10, value_parser = clap::value_parser!(u64).range(1..=600))]
    pub(crate) seconds: u64,
    /// End each recording after this many bytes
    #[arg(long, value_name = "N", default_value_t = 65_536, value_parser = clap::value_parser!(u64).range(1..=262_144))]
    pub(crate) bytes: u64,
    /// Baud rate of a serial port (8 data bits, no parity, 1 stop bit)
    #[arg(long, value_name = "RATE", default_value_t = 9_600)]
    pub(crate) baud: u32,
    /// Try the usual baud rates first and continue with the best
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
    /// The device's profile (file, or the name of a built-in one); without it only bytes are shown
    #[arg(long, value_name = "PROFILE")]
    pub(crate) profile: Option<String>,
    /// Stop after this many readings (without a profile: chunks of bytes)
    #[arg(long, value_name = "N")]
    pub(crate) count: Option<u64>,
    /// How the output is written
    #[arg(long, value_enum, default_value_t)]
    pub(crate) format: Format,
}
