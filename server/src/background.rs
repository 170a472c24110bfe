//! Something that is worked out beside the requests, one run at a time, and kept in memory: it can be worked
//! out again, and nobody signs it.

use std::future::Future;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Instant;

use tokio::sync::Notify;

use crate::error::AppError;

/// Runs that find an `F` about an `A`.
#[derive(Debug)]
pub struct Background<A, F> {
    inner: Arc<Inner<A, F>>,
}

#[derive(Debug)]
struct Inner<A, F> {
    shown: Mutex<Shown<A, F>>,
    stop: AtomicBool,
    done: Notify,
}

/// What there is to show.
#[derive(Debug)]
pub struct Shown<A, F> {
    pub running: Option<Running<A>>,
    /// What the last run found that came to its end.
    pub found: Option<Arc<F>>,
    pub failed: bool,
}

/// A run that goes on.
#[derive(Debug, Clone)]
pub struct Running<A> {
    pub about: A,
    pub by: String,
    pub since: Instant,
    pub done: usize,
    pub of: usize,
}

/// What a run has of its surroundings.
#[derive(Debug)]
pub struct Handle<A, F> {
    inner: Arc<Inner<A, F>>,
}

impl<A, F> Clone for Background<A, F> {
    fn clone(&self) -> Self {
        Background {
            inner: Arc::clone(&self.inner),
        }
    }
}

impl<A, F> Default for Background<A, F> {
    fn default() -> Self {
        let shown = Shown {
            running: None,
            found: None,
            failed: false,
        };
        Background {
            inner: Arc::new(Inner {
                shown: Mutex::new(shown),
                stop: AtomicBool::new(false),
                done: Notify::new(),
            }),
        }
    }
}

impl<A: Clone, F> Clone for Shown<A, F> {
    fn clone(&self) -> Self {
        Shown {
            running: self.running.clone(),
            found: self.found.clone(),
            failed: self.failed,
        }
    }
}

impl<A, F> Inner<A, F> {
    fn with<T>(&self, act: impl FnOnce(&mut Shown<A, F>) -> T) -> T {
        act(&mut self.shown.lock().unwrap_or_else(PoisonError::into_inner))
    }
}

impl<A, F> Background<A, F>
where
    A: Clone + Send + 'static,
    F: Send + Sync + 'static,
{
    pub fn shown(&self) -> Shown<A, F> {
        self.inner.with(|shown| shown.clone())
    }

    /// Starts a run, unless one goes on. A run that finds nothing was stopped.
    pub fn start<R>(&self, about: A, by: String, run: impl FnOnce(Handle<A, F>) -> R)
    where
        R: Future<Output = Result<Option<F>, AppError>> + Send + 'static,
    {
        let running = Running {
            about,
            by,
            since: Instant::now(),
            done: 0,
            of: 1,
        };
        let first = self.inner.with(|shown| {
            let idle = shown.running.is_none();
            if idle {
                shown.running = Some(running);
                shown.failed = false;
            }
            idle
        });
        if !first {
            return;
        }
        let inner = Arc::clone(&self.inner);
        inner.stop.store(false, Ordering::Relaxed);
        let run = run(Handle {
            inner: Arc::clone(&inner),
        });
        tokio::spawn(async move {
            let outcome = run.await;
            inner.with(|shown| {
                shown.running = None;
                match outcome {
                    Ok(Some(found)) => shown.found = Some(Arc::new(found)),
                    Ok(None) => {}
                    Err(error) => {
                        tracing::error!(%error, "what was worked out in the background failed");
                        shown.failed = true;
                    }
                }
            });
            inner.done.notify_waiters();
        });
    }

    /// Ends the present run; what it found so far is dropped.
    pub fn stop(&self) {
        self.inner.stop.store(true, Ordering::Relaxed);
    }

    /// Until no run goes on.
    pub async fn finished(&self) {
        loop {
            let done = self.inner.done.notified();
            if self.shown().running.is_none() {
                return;
            }
            done.await;
        }
    }
}

impl<A, F> Handle<A, F> {
    pub fn is_stopped(&self) -> bool {
        self.inner.stop.load(Ordering::Relaxed)
    }

    /// How far the run is.
    pub fn tell(&self, done: usize, of: usize) {
        self.inner.with(|shown| {
            if let Some(running) = &mut shown.running {
                (running.done, running.of) = (done, of);
            }
        });
    }
}
