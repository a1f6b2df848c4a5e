//! The same work on many things, by up to four threads. The results are in the order of the things,
//! so they do not depend on the number of threads.

use std::num::NonZero;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::thread;

/// With fewer things than this a second thread costs more than it saves.
const FEW: usize = 64;

/// The most threads. More would only wait for memory.
const MOST_THREADS: usize = 4;

/// Bytes of stack, far more than the deepest nesting needs.
const STACK: usize = 8 * 1024 * 1024;

/// The result of `work` for each of the things.
pub(super) fn each<T: Sync, R: Send>(things: &[T], work: &(impl Fn(&T) -> R + Sync)) -> Vec<R> {
    if things.len() < FEW {
        return things.iter().map(work).collect();
    }
    let next = AtomicUsize::new(0);
    let share = || {
        let mut done = Vec::new();
        loop {
            let at = next.fetch_add(1, Ordering::Relaxed);
            let Some(thing) = things.get(at) else {
                return done;
            };
            done.push((at, work(thing)));
        }
    };
    let threads = thread::available_parallelism().map_or(1, NonZero::get);
    let mut done = thread::scope(|scope| {
        // If the system refuses a thread, this thread and the others do its work.
        let helpers: Vec<_> = (1..threads.min(MOST_THREADS))
            .filter_map(|_| {
                let thread = thread::Builder::new().stack_size(STACK);
                thread.spawn_scoped(scope, share).ok()
            })
            .collect();
        let mut done = share();
        for helper in helpers {
            match helper.join() {
                Ok(more) => done.extend(more),
                Err(fault) => std::panic::resume_unwind(fault),
            }
        }
        done
    });
    done.sort_unstable_by_key(|(at, _)| *at);
    done.into_iter().map(|(_, result)| result).collect()
}

#[cfg(test)]
mod tests {
    use super::each;

    #[test]
    fn results_are_in_the_order_of_the_things() {
        for many in [0, 1, 63, 64, 1_000] {
            let things: Vec<usize> = (0..many).collect();
            let doubled: Vec<usize> = things.iter().map(|thing| thing * 2).collect();
            assert_eq!(each(&things, &|thing| thing * 2), doubled);
        }
    }
}
