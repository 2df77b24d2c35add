//! Panics are caught with their place; an input that takes too long is named while it runs.

use std::panic::{AssertUnwindSafe, PanicHookInfo, catch_unwind};
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::sync::{Arc, Mutex, Once, PoisonError};
use std::time::{Duration, Instant};

/// How threads are called whose panics are finds.
pub const THREADS: &str = "fuzz";

static LAST_PANIC: Mutex<Option<String>> = Mutex::new(None);
static HOOK: Once = Once::new();
static CATCHING: AtomicUsize = AtomicUsize::new(0);

/// Keeps the message of a panic on our own threads instead of printing it.
fn set_hook() {
    HOOK.call_once(|| {
        let before = std::panic::take_hook();
        std::panic::set_hook(Box::new(move |info| {
            let is_ours = std::thread::current().name().is_some_and(|name| name.starts_with(THREADS));
            if is_ours && CATCHING.load(Ordering::SeqCst) > 0 {
                *LAST_PANIC.lock().unwrap_or_else(PoisonError::into_inner) = Some(told(info));
            } else {
                before(info);
            }
        }));
    });
}

fn told(info: &PanicHookInfo<'_>) -> String {
    let place = info.location().map_or(String::new(), |at| format!("{}:{}", at.file(), at.line()));
    let payload = info.payload();
    let text = payload.downcast_ref::<&str>().map(|text| (*text).to_owned());
    let text = text.or_else(|| payload.downcast_ref::<String>().cloned()).unwrap_or_default();
    format!("{place}: {text}")
}

/// Runs something; a panic becomes its place and message.
pub fn caught<T>(work: impl FnOnce() -> T) -> Result<T, String> {
    set_hook();
    CATCHING.fetch_add(1, Ordering::SeqCst);
    let result = catch_unwind(AssertUnwindSafe(work));
    CATCHING.fetch_sub(1, Ordering::SeqCst);
    result.map_err(|_| {
        let last = LAST_PANIC.lock().unwrap_or_else(PoisonError::into_inner).take();
        last.unwrap_or_else(|| "a panic without a message".to_owned())
    })
}

/// A pool whose panics are finds, with the stack that the program's main thread has.
pub fn pool(threads: usize) -> rayon::ThreadPool {
    let builder = rayon::ThreadPoolBuilder::new().num_threads(threads).stack_size(8 << 20);
    builder.thread_name(|i| format!("{THREADS}-{i}")).build().expect("threads")
}

struct Running {
    what: String,
    since: Instant,
    limit: Duration,
}

/// Looks at the clock while inputs run.
pub struct Watch {
    running: Arc<Mutex<Option<Running>>>,
    ended: Arc<AtomicBool>,
    thread: Option<std::thread::JoinHandle<()>>,
}

impl Watch {
    /// Calls `hangs` with the name of an input that is over its limit, once for each.
    pub fn start(hangs: impl Fn(&str) + Send + 'static) -> Self {
        let running: Arc<Mutex<Option<Running>>> = Arc::default();
        let ended = Arc::new(AtomicBool::new(false));
        let (watched, stop) = (Arc::clone(&running), Arc::clone(&ended));
        let thread = std::thread::spawn(move || {
            while !stop.load(Ordering::Relaxed) {
                std::thread::sleep(Duration::from_millis(20));
                let mut running = watched.lock().unwrap_or_else(PoisonError::into_inner);
                if let Some(late) = running.take_if(|running| running.since.elapsed() > running.limit) {
                    hangs(&late.what);
                }
            }
        });
        Self { running, ended, thread: Some(thread) }
    }

    /// From now on this runs, for no longer than the limit.
    pub fn begin(&self, what: String, limit: Duration) {
        *self.running.lock().unwrap_or_else(PoisonError::into_inner) =
            Some(Running { what, since: Instant::now(), limit });
    }

    /// It has ended.
    pub fn end(&self) {
        *self.running.lock().unwrap_or_else(PoisonError::into_inner) = None;
    }
}

impl Drop for Watch {
    fn drop(&mut self) {
        self.ended.store(true, Ordering::Relaxed);
        if let Some(thread) = self.thread.take() {
            let _ = thread.join();
        }
    }
}
