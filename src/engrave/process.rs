//! The engraver as a process, with limits on its time and on what it says.

use super::job::{Drawing, Job};
use std::ffi::OsString;
use std::io::{Read, Write};
use std::path::PathBuf;
use std::process::{Child, ChildStderr, Command, ExitStatus, Stdio};
use std::sync::mpsc;
use std::thread::Builder;
use std::time::Duration;

/// Names another program in the engraver's place.
const PROGRAM: &str = "OBELUS_ENGRAVER";
/// Seconds that a drawing may take.
const SECONDS: &str = "OBELUS_ENGRAVE_SECONDS";
const USUAL_SECONDS: u64 = 60;
/// As many more for each so many bytes of music: an orchestra's score takes long on a busy machine.
const FOR_BYTES: usize = 20_000;
/// How long its complaints are waited for once it has ended; they are there at once, or others hold its pipe.
const TO_COMPLAIN: Duration = Duration::from_secs(1);
/// Bytes of a drawing; what goes beyond is nonsense.
const MOST: u64 = 256 << 20;

/// Why nothing was drawn.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum Error {
    #[error("the engraver could not be started: {0}")]
    Start(String),
    #[error("the engraver was stopped after {0} seconds; set {SECONDS} to allow more")]
    Time(u64),
    #[error("the engraver crashed on this music ({0})")]
    Crash(String),
    #[error("the engraver had too little memory")]
    Memory,
    #[error("the engraver was stopped by the system's limit on processor time")]
    Processor,
    #[error("the engraver was killed from outside, as the system does for want of memory")]
    Killed,
    /// What it said itself.
    #[error("the engraver gave up: {0}")]
    Told(String),
    #[error("the engraver's answer cannot be read")]
    Nonsense,
}

/// Has a score drawn.
///
/// # Errors
/// Whatever the engraver does wrong; it never takes this process with it.
pub fn engrave(job: &Job) -> Result<Drawing, Error> {
    let (program, seconds) = (program()?, seconds(job));
    let mut child = Command::new(program)
        .arg(super::COMMAND)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .map_err(|e| Error::Start(e.to_string()))?;
    let complaint = child.stderr.take().map(complaint);
    let answer = talk(&mut child, job, Duration::from_secs(seconds));
    // Whatever it still does is for nothing.
    let _ = child.kill();
    let status = child.wait().map_err(|e| Error::Start(e.to_string()))?;
    let answer = answer.map_err(|e| Error::Start(e.to_string()))?.ok_or(Error::Time(seconds))?;
    let drawing: Option<Drawing> = serde_json::from_slice(&answer).ok();
    match drawing.filter(|drawing| drawing.answers(job)) {
        Some(drawing) => Ok(drawing),
        None if !answer.is_empty() => Err(Error::Nonsense),
        None => Err(why(status, &complaint.and_then(|said| said.recv_timeout(TO_COMPLAIN).ok()).unwrap_or_default())),
    }
}

/// What a process says of its troubles; so much of it is kept.
fn complaint(from: ChildStderr) -> mpsc::Receiver<String> {
    const KEPT: u64 = 1 << 16;
    let (sender, receiver) = mpsc::channel();
    // Where there is no thread to listen, nothing is heard.
    let _ = Builder::new().spawn(move || {
        let (mut heard, mut from) = (Vec::new(), from);
        let _ = from.by_ref().take(KEPT).read_to_end(&mut heard);
        // It shall not wait for one who listens no more.
        let _ = std::io::copy(&mut from, &mut std::io::sink());
        let _ = sender.send(String::from_utf8_lossy(&heard).into_owned());
    });
    receiver
}

/// Why an engraver has ended that answered nothing.
fn why(status: ExitStatus, said: &str) -> Error {
    // As the languages it is written in, and the loader of programs, say it.
    const NO_MEMORY: [&str; 5] =
        ["bad_alloc", "memory allocation of", "annot allocate memory", "failed to map segment", "out of memory"];
    if NO_MEMORY.iter().any(|words| said.contains(words)) {
        return Error::Memory;
    }
    #[cfg(unix)]
    match std::os::unix::process::ExitStatusExt::signal(&status) {
        Some(9) => return Error::Killed,
        // SIGXCPU, where the numbers are the usual ones.
        Some(24) => return Error::Processor,
        _ => {}
    }
    match said.lines().find_map(|line| line.strip_prefix("obelus: ")) {
        Some(reason) => Error::Told(reason.into()),
        None => Error::Crash(end_of(status)),
    }
}

fn program() -> Result<PathBuf, Error> {
    match std::env::var_os(PROGRAM).filter(|p: &OsString| !p.is_empty()) {
        Some(program) => Ok(program.into()),
        None => std::env::current_exe().map_err(|e| Error::Start(e.to_string())),
    }
}

/// How long a job may take.
pub(super) fn seconds(job: &Job) -> u64 {
    let told = std::env::var(SECONDS).ok().and_then(|s| s.trim().parse().ok());
    told.unwrap_or(USUAL_SECONDS + (job.bytes() / FOR_BYTES) as u64)
}

/// Says the job and hears the answer, at the same time: either may be long.
/// `None` when the time is over.
///
/// # Errors
/// Where the system has no threads for that.
fn talk(child: &mut Child, job: &Job, limit: Duration) -> std::io::Result<Option<Vec<u8>>> {
    let Some((mut to, from)) = child.stdin.take().zip(child.stdout.take()) else { return Ok(None) };
    let said = serde_json::to_vec(job).expect("a job can be written as JSON");
    // Threads that are left waiting end with the pipes, when the child is killed.
    Builder::new().spawn(move || {
        // A child that does not listen is told by its answer.
        let _ = to.write_all(&said);
    })?;
    let (sender, receiver) = mpsc::channel();
    Builder::new().spawn(move || {
        let mut heard = Vec::new();
        let _ = from.take(MOST).read_to_end(&mut heard);
        let _ = sender.send(heard);
    })?;
    Ok(receiver.recv_timeout(limit).ok())
}

fn end_of(status: ExitStatus) -> String {
    #[cfg(unix)]
    if let Some(signal) = std::os::unix::process::ExitStatusExt::signal(&status) {
        return format!("signal {signal}");
    }
    status.code().map_or_else(|| "no exit status".into(), |code| format!("exit status {code}"))
}

impl Drawing {
    /// Whether it can be the drawing of a job.
    fn answers(&self, job: &Job) -> bool {
        let wanted = match job {
            Job::Systems(pieces) => pieces.len(),
            Job::Strips(strips) => strips.len(),
            Job::Pages { .. } => 1,
        };
        let is_drawn = |all: &Vec<String>| !all.is_empty() && all.iter().all(|svg| svg.starts_with("<svg"));
        self.pictures.len() == wanted && self.pictures.iter().all(is_drawn)
    }
}
