//! The desk: a page on the user's own machine, on which all that the commands do is done by looking and clicking.

mod change;
mod commands;
mod copy;
mod drawings;
mod fault;
mod folder;
mod guard;
mod listen;
mod now;
mod opened;
mod page;
mod range;
mod server;
mod settings;
mod state;
mod steps;
mod tabs;
mod words;

use folder::Folder;
use guard::Guard;
use settings::{PlayerSettings, Settings};
use state::Desk;
use std::net::Ipv4Addr;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use tokio::net::TcpListener;

/// How a desk is set up.
#[derive(Debug, Clone, Default)]
pub struct Options {
    /// Edition and source, where they are known already.
    pub files: Option<[PathBuf; 2]>,
    pub instrument: Option<String>,
    pub folder: PathBuf,
    /// A free one by default.
    pub port: Option<u16>,
    /// Whether the browser is opened.
    pub opens: bool,
    /// Whether it goes on after the last tab was closed.
    pub stays: bool,
}

/// The whole path of a file that can be read as often as it is asked for.
fn whole(path: &Path) -> Result<PathBuf, String> {
    let named = path.display();
    match std::fs::metadata(path) {
        Ok(about) if !about.is_file() && !about.is_dir() => {
            Err(format!("{named}: the desk reads its scores again and again; give it a file"))
        }
        Ok(_) => path.canonicalize().map_err(|fault| format!("{named}: {fault}")),
        Err(fault) if fault.kind() == std::io::ErrorKind::NotFound => Err(format!("{named}: there is no such file")),
        Err(fault) => Err(format!("{named}: {fault}")),
    }
}

/// Serves the page until the user ends it. `say` hears the address.
///
/// # Errors
/// In a sentence, where it cannot begin.
pub fn serve(options: Options, say: impl Fn(&str)) -> Result<(), String> {
    let told = |fault: std::io::Error| fault.to_string();
    // The runtime takes it for granted that there are threads.
    std::thread::Builder::new().spawn(|| ()).map_err(told)?;
    let runtime = tokio::runtime::Builder::new_multi_thread().worker_threads(2).enable_all().build().map_err(told)?;
    runtime.block_on(async {
        let files = options.files.as_ref().map(|[a, b]| Ok::<_, String>([whole(a)?, whole(b)?])).transpose()?;
        let folder = Folder::new(&options.folder)
            .map_err(|fault| format!("{}: this folder cannot be used: {fault}", options.folder.display()))?;
        let [edition, source] = files.map_or([None, None], |[a, b]| [Some(a), Some(b)]);
        let player = PlayerSettings { instrument: options.instrument, ..PlayerSettings::default() };
        let settings = Settings { edition, source, player, ..Settings::default() };
        let desk = Desk::new(folder, settings, options.stays).await?;
        let port = options.port.unwrap_or(0);
        let listener = TcpListener::bind((Ipv4Addr::LOCALHOST, port))
            .await
            .map_err(|fault| format!("port {port} cannot be used: {fault}; choose another with --port"))?;
        let guard =
            Arc::new(Guard::new(listener.local_addr().map_err(told)?.port()).map_err(|fault| fault.to_string())?);
        let address = guard.address();
        say(&address);
        if options.opens && opener::open_browser(&address).is_err() {
            say("No browser could be opened; open this address yourself.");
        }
        let tabs = desk.tabs.clone();
        let patience = listen::patience();
        let server = listen::serve(listener, server::router(desk, guard, patience), patience);
        tokio::select! {
            () = server => Ok(()),
            () = tabs.ended() => Ok(()),
            () = interrupted() => Ok(()),
        }
    })
}

/// Ctrl-C, the end of the terminal, or the system's wish that the program ends.
async fn interrupted() {
    #[cfg(unix)]
    {
        use tokio::signal::unix::{SignalKind, signal};
        let [terminated, hung_up] = [SignalKind::terminate(), SignalKind::hangup()].map(signal);
        if let (Ok(mut terminated), Ok(mut hung_up)) = (terminated, hung_up) {
            tokio::select! {
                _ = tokio::signal::ctrl_c() => {}
                _ = terminated.recv() => {}
                _ = hung_up.recv() => {}
            }
            return;
        }
    }
    _ = tokio::signal::ctrl_c().await;
}
