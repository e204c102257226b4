//! Who holds a lease, and does it still live?
//!
//! An owner is a process of this machine, told apart from a later process with
//! the same number by when it began. Linux says when a process began and in
//! which process namespace numbers are counted; elsewhere, and across
//! containers, nobody can tell, and a lease has to run out.

use std::sync::atomic::{AtomicU64, Ordering};

/// This process, as an owner of leases.
#[derive(Debug)]
pub(super) struct Owner {
    process: String,
    claims: AtomicU64,
}

impl Owner {
    /// The running process.
    pub(super) fn this_process() -> Self {
        let pid = std::process::id();
        // Two engines of one process are two owners.
        let engine = uuid::Uuid::now_v7().simple();
        Self {
            process: format!(
                "{}/{pid}/{}/{engine}",
                numbering(),
                began(pid).unwrap_or_default()
            ),
            claims: AtomicU64::new(0),
        }
    }

    /// A name for the next claim; no two claims ever have the same.
    pub(super) fn next_claim(&self) -> String {
        format!(
            "{}#{}",
            self.process,
            self.claims.fetch_add(1, Ordering::Relaxed)
        )
    }
}

/// Whether the process behind a lease is surely gone. `false` if nobody can tell.
pub(super) fn is_dead(owner: &str) -> bool {
    let mut parts = owner.split('/');
    let (Some(boot), Some(space), Some(pid), Some(start)) =
        (parts.next(), parts.next(), parts.next(), parts.next())
    else {
        return false;
    };
    let ours = numbering();
    let Some((our_boot, our_space)) = ours.split_once('/') else {
        return false;
    };
    if boot.is_empty() || our_boot.is_empty() {
        return false;
    }
    // A data folder is never shared between machines (write-ahead mode needs
    // shared memory), so another boot is an earlier boot.
    if boot != our_boot {
        return true;
    }
    let Ok(pid) = pid.parse::<u32>() else {
        return false;
    };
    space == our_space && began(pid).is_none_or(|now| now != start)
}

/// Which boot of the machine this is and which namespace counts its processes,
/// as `boot/namespace`; `/` where the system does not say.
fn numbering() -> String {
    let boot = std::fs::read_to_string("/proc/sys/kernel/random/boot_id").unwrap_or_default();
    let space = std::fs::read_link("/proc/self/ns/pid").unwrap_or_default();
    format!(
        "{}/{}",
        boot.trim(),
        space.to_string_lossy().replace(['/', '#'], "")
    )
}

/// When a process began, in clock ticks since boot; `None` if there is none or
/// it has ended and only waits to be noticed.
fn began(pid: u32) -> Option<String> {
    let stat = std::fs::read_to_string(format!("/proc/{pid}/stat")).ok()?;
    // proc(5): the second field is the name in parentheses, which may hold
    // anything; state is the first field after it, start time the twentieth.
    let mut fields = stat.rsplit_once(')')?.1.split_whitespace();
    let state = fields.next()?;
    if matches!(state, "Z" | "X") {
        return None;
    }
    fields.nth(18).map(str::to_owned)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_living_process_is_alive() {
        let owner = Owner::this_process();
        assert!(!is_dead(&owner.next_claim()));
        assert_ne!(owner.next_claim(), owner.next_claim());
    }

    #[cfg(target_os = "linux")]
    #[test]
    fn an_ended_process_is_dead_and_a_later_one_with_its_number_is_another() {
        let mut child = std::process::Command::new("sleep")
            .arg("60")
            .spawn()
            .unwrap();
        let (pid, ours) = (child.id(), numbering());
        let start = began(pid).unwrap();
        assert!(!is_dead(&format!("{ours}/{pid}/{start}/x#0")));
        assert!(
            is_dead(&format!("{ours}/{pid}/1/x#0")),
            "the number was used before"
        );
        child.kill().unwrap();
        // Killed, but nobody has asked for its exit status yet.
        std::thread::sleep(std::time::Duration::from_millis(100));
        assert!(is_dead(&format!("{ours}/{pid}/{start}/x#0")));
        child.wait().unwrap();
        assert!(is_dead(&format!("{ours}/{pid}/{start}/x#0")));
    }

    #[test]
    fn what_nobody_can_tell_is_not_dead() {
        assert!(!is_dead(""));
        assert!(!is_dead("//123/456/x#0"));
        #[cfg(target_os = "linux")]
        {
            let ours = numbering();
            let boot = ours.split_once('/').unwrap().0;
            assert!(
                !is_dead(&format!("{boot}/pid:[1]/4000000/1/x#0")),
                "another container"
            );
            assert!(
                is_dead("0-0-0/pid:[1]/1/1/x#0"),
                "before the machine was started"
            );
        }
    }
}
