//! Runs of programs, and what they cost.

use super::heap;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};

/// Set for runs of which the instructions are counted.
const COUNTED: &str = "OBELUS_SPEED_COUNTED";
/// Of so many runs by the clock the middle one counts: a machine has other work, too.
const RUNS: usize = 15;

/// An edition and its source on disk.
pub struct Pair {
    pub edition: PathBuf,
    pub source: PathBuf,
    pub report: PathBuf,
    copy: PathBuf,
}

#[derive(Clone, Copy, PartialEq, Eq)]
pub enum Work {
    /// Reading both files and parsing them, no more.
    Parse,
    /// The whole command, with a JSON report in a file.
    Audit,
    /// The whole command, with the page in a file.
    Page,
    /// The whole command, with its proof and the copy in a file.
    Clean,
    /// Reading and parsing the source alone.
    ParseOne,
    /// Every key of the source on a recorder, with a JSON report in a file.
    Keys,
}

/// What the bench program says of itself when it ran as one of its children.
#[derive(Clone, Copy)]
pub struct Cost {
    /// Bytes held at most.
    pub peak: usize,
    /// Seconds on the processor.
    pub seconds: f64,
}

impl Pair {
    pub fn write(folder: &Path, edition: &str, source: &str) -> Pair {
        let at = |name: &str| folder.join(name);
        let pair =
            Pair { edition: at("edition.xml"), source: at("source.xml"), report: at("report"), copy: at("clean.xml") };
        std::fs::write(&pair.edition, edition).expect("the folder takes files");
        std::fs::write(&pair.source, source).expect("the folder takes files");
        pair
    }

    pub fn megabytes(&self) -> f64 {
        megabytes(&[&self.edition, &self.source])
    }

    fn arguments(&self, work: Work) -> Vec<&std::ffi::OsStr> {
        let files = [self.edition.as_os_str(), self.source.as_os_str()];
        let form = ["--format".as_ref(), "json".as_ref(), "-o".as_ref(), self.report.as_os_str()];
        match work {
            Work::Parse => ["parse".as_ref()].into_iter().chain(files).collect(),
            Work::ParseOne => vec!["parse".as_ref(), self.source.as_os_str()],
            Work::Audit => ["audit".as_ref()].into_iter().chain(files).chain(form).collect(),
            Work::Page => {
                let form = ["--format".as_ref(), "html".as_ref(), "-o".as_ref(), self.report.as_os_str()];
                ["audit".as_ref()].into_iter().chain(files).chain(form).collect()
            }
            Work::Keys => {
                let one = ["keys".as_ref(), self.source.as_os_str(), "--instrument".as_ref(), "alto recorder".as_ref()];
                one.into_iter().chain(form).collect()
            }
            Work::Clean => {
                ["clean".as_ref()].into_iter().chain(files).chain(["-o".as_ref(), self.copy.as_os_str()]).collect()
            }
        }
    }

    /// Instructions, where valgrind counts them; the commands are the program as it is built.
    pub fn instructions(&self, work: Work) -> Option<f64> {
        let program = match work {
            Work::Parse | Work::ParseOne => std::env::current_exe().ok()?,
            Work::Audit | Work::Page | Work::Clean | Work::Keys => env!("CARGO_BIN_EXE_obelus").into(),
        };
        let count = ["--tool=cachegrind", "--cache-sim=no", "--cachegrind-out-file=/dev/null"];
        let done = run(Command::new("valgrind").env(COUNTED, "1").args(count).arg(program).args(self.arguments(work)))?;
        let said = String::from_utf8_lossy(&done.stderr).into_owned();
        let number = said.lines().find(|line| line.contains("refs:"))?.split_once("refs:")?.1;
        number.trim().replace(',', "").parse().ok()
    }

    /// Memory, and time as the least of three runs.
    pub fn cost(&self, work: Work) -> Cost {
        let once = || {
            let program = std::env::current_exe().expect("a program has a place");
            let done = run(Command::new(program).args(self.arguments(work))).expect("the bench starts itself");
            let said = String::from_utf8_lossy(&done.stderr).into_owned();
            let mut numbers = said.lines().last().unwrap_or("").split(' ').filter_map(|n| n.parse::<f64>().ok());
            let (Some(peak), Some(seconds)) = (numbers.next(), numbers.next()) else { panic!("{said}") };
            Cost { peak: peak as usize, seconds }
        };
        let runs = [once(), once(), once()];
        Cost { seconds: runs.iter().map(|r| r.seconds).fold(f64::MAX, f64::min), ..runs[0] }
    }
}

impl Pair {
    /// Seconds on the clock with all its processes.
    pub fn clock(&self, work: Work) -> f64 {
        let program = || Command::new(env!("CARGO_BIN_EXE_obelus"));
        self.clock_of(program, work).expect("the program is built")
    }

    /// The same where only one core may be used; nothing where no program can say so.
    pub fn clock_on_one_core(&self, work: Work) -> Option<f64> {
        let program = || {
            let mut command = Command::new("taskset");
            command.args(["-c", "0", env!("CARGO_BIN_EXE_obelus")]);
            command
        };
        self.clock_of(program, work)
    }

    fn clock_of(&self, program: impl Fn() -> Command, work: Work) -> Option<f64> {
        let once = || {
            let begin = std::time::Instant::now();
            run(program().args(self.arguments(work))).map(|_| begin.elapsed().as_secs_f64())
        };
        Some(middle((0..RUNS).map(|_| once()).collect::<Option<Vec<f64>>>()?))
    }
}

fn middle(mut all: Vec<f64>) -> f64 {
    all.sort_by(f64::total_cmp);
    all[all.len() / 2]
}

/// How much of the time of one thread two threads take for the same work, if it is divided evenly and they share
/// nothing.
pub fn at_best() -> f64 {
    // Some milliseconds, as long as half of an audit takes.
    let work = || {
        std::hint::black_box((0..8_000_000_u64).fold(1_u64, |sum, n| std::hint::black_box(sum.wrapping_mul(31) ^ n)));
    };
    let seconds = |all: &dyn Fn()| {
        let begin = std::time::Instant::now();
        all();
        begin.elapsed().as_secs_f64()
    };
    let one = || (0..2).for_each(|_| work());
    let two = || {
        std::thread::scope(|scope| {
            scope.spawn(work);
            scope.spawn(work);
        });
    };
    let ratios = (0..RUNS).map(|_| seconds(&two) / seconds(&one)).collect();
    middle(ratios)
}

/// How large some files are together.
pub fn megabytes(files: &[&Path]) -> f64 {
    files.iter().filter_map(|file| std::fs::metadata(file).ok()).map(|about| about.len() as f64 / 1e6).sum()
}

/// Nothing if there is no such program; a run that fails stops the bench.
fn run(command: &mut Command) -> Option<Output> {
    // The bench itself is no engraver.
    command.env("OBELUS_ENGRAVER", env!("CARGO_BIN_EXE_obelus"));
    let done = command.stdin(Stdio::null()).output().ok()?;
    assert!(done.status.success(), "{command:?}: {}", String::from_utf8_lossy(&done.stderr));
    Some(done)
}

/// The work of a child that only parses.
pub fn parse(files: &[String]) {
    let texts: Vec<String> = files.iter().map(|f| std::fs::read_to_string(f).expect("the bench wrote it")).collect();
    let parsed = |text| {
        let options = roxmltree::ParsingOptions { allow_dtd: true, ..Default::default() };
        roxmltree::Document::parse_with_options(text, options)
    };
    let trees: Vec<_> = texts.iter().map(|text| parsed(text)).collect();
    assert!(trees.iter().all(Result::is_ok), "the bench writes well-formed files");
}

/// Of all threads.
#[cfg(target_os = "linux")]
fn processor_seconds() -> f64 {
    let used = rustix::time::clock_gettime(rustix::time::ClockId::ProcessCPUTime);
    used.tv_sec as f64 + used.tv_nsec as f64 / 1e9
}

#[cfg(not(target_os = "linux"))]
fn processor_seconds() -> f64 {
    0.0
}

/// What a child tells its parent when it is done.
pub fn tell() {
    // A counted run has nothing to tell, and its clock may not be asked.
    if std::env::var_os(COUNTED).is_none() {
        eprintln!("{} {}", heap::peak(), processor_seconds());
    }
}
