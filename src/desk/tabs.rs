//! The tabs in which a desk is open: told of every change, and when the last one leaves the desk ends.

use axum::response::sse::{Event, KeepAlive, Sse};
use futures_util::stream::{self, Stream};
use std::convert::Infallible;
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::Duration;
use tokio::sync::{Notify, watch};

/// A tab that is only loaded anew comes back within this.
const GRACE: Duration = Duration::from_secs(3);

pub struct Tabs {
    version: watch::Sender<u64>,
    open: AtomicUsize,
    stays: bool,
    end: Notify,
}

/// One tab that listens.
struct Tab(Arc<Tabs>);

impl Drop for Tab {
    fn drop(&mut self) {
        self.0.open.fetch_sub(1, Ordering::SeqCst);
    }
}

impl Tabs {
    /// `stays`: whether the desk goes on without any.
    pub fn new(version: u64, stays: bool) -> Arc<Tabs> {
        let (version, _) = watch::channel(version);
        Arc::new(Tabs { version, open: AtomicUsize::new(0), stays, end: Notify::new() })
    }

    /// Tells all tabs that there is something new.
    pub fn tell(&self, version: u64) {
        _ = self.version.send_replace(version);
    }

    /// Waits until the last tab has said goodbye.
    pub async fn ended(&self) {
        self.end.notified().await;
    }

    /// A tab has said that it goes.
    pub fn goodbye(self: &Arc<Self>) {
        if self.stays {
            return;
        }
        let tabs = self.clone();
        tokio::spawn(async move {
            tokio::time::sleep(GRACE).await;
            if tabs.open.load(Ordering::SeqCst) == 0 {
                tabs.end.notify_one();
            }
        });
    }

    /// The changes, as a tab hears them: the number of the newest.
    pub fn listen(self: &Arc<Self>) -> Sse<impl Stream<Item = Result<Event, Infallible>> + use<>> {
        self.open.fetch_add(1, Ordering::SeqCst);
        let heard = self.version.subscribe();
        let all = stream::unfold((Tab(self.clone()), heard, true), |(tab, mut heard, is_first)| async move {
            if !is_first {
                heard.changed().await.ok()?;
            }
            let version = *heard.borrow_and_update();
            Some((Ok(Event::default().event("version").data(version.to_string())), (tab, heard, false)))
        });
        Sse::new(all).keep_alive(KeepAlive::new().interval(Duration::from_secs(15)))
    }
}
