//! Memory that is free: kept from frame to frame, given back to the system from clip to clip.

/// Bytes of a block from which on the C library takes it from the system and gives it back by itself,
/// the most that it may be told; and of what is free at the end of its heap, from which on that goes
/// back. Left to itself it gives back the picture of each frame and takes the next one anew, and the
/// system clears every page of it: 18,000 to 33,000 pages a clip of 1080p, 3 % of its time, in place
/// of 14,000 to 22,000 (docs/speed.md).
#[cfg(all(target_os = "linux", target_env = "gnu"))]
const KEPT: [(libc::c_int, libc::c_int); 2] = [
    (libc::M_MMAP_THRESHOLD, 32 << 20),
    (libc::M_TRIM_THRESHOLD, 256 << 20),
];

/// Keeps freed memory at hand until [`give_back`]. Elsewhere than with GNU's C library this does nothing.
pub fn keep() {
    #[cfg(all(target_os = "linux", target_env = "gnu"))]
    for (what, bytes) in KEPT {
        // SAFETY: takes no pointer, may be called at any time by any thread (mallopt(3)). If it is
        // refused, memory is kept as it was.
        unsafe {
            libc::mallopt(what, bytes);
        }
    }
}

/// Gives back what the C library keeps of freed memory. Each clip is decoded by threads of its
/// own, and each leaves its part of the heap in pieces: what lives stays at some 20 MB, what
/// is free and kept grows clip by clip to several times that (docs/measured.md). FFmpeg takes
/// its memory from the C library, too, so that another allocator for this program's own
/// would not help. Elsewhere than with GNU's C library this does nothing.
pub fn give_back() {
    #[cfg(all(target_os = "linux", target_env = "gnu"))]
    // SAFETY: takes no pointer, may be called at any time by any thread (malloc_trim(3)).
    unsafe {
        libc::malloc_trim(0);
    }
}

#[cfg(all(test, target_os = "linux", target_env = "gnu"))]
mod tests {
    use super::*;

    fn resident_kb() -> usize {
        let status = std::fs::read_to_string("/proc/self/status").unwrap();
        let line = status.lines().find_map(|l| l.strip_prefix("RssAnon:"));
        let kb = line.and_then(|l| l.split_whitespace().next());
        kb.unwrap().parse().unwrap()
    }

    #[test]
    fn free_memory_between_what_lives_goes_back() {
        /// Blocks that the C library takes from its heap, 96 MB together.
        const BLOCK: usize = 48 << 10;
        const BLOCKS: usize = 2000;
        let mut blocks: Vec<Vec<u8>> = (0..BLOCKS).map(|_| vec![1; BLOCK]).collect();
        let full = resident_kb();
        let mut nth = 0;
        blocks.retain(|_| {
            nth += 1;
            nth % 40 == 0
        });
        let freed = resident_kb();
        give_back();
        let given_back = resident_kb();
        assert!(
            given_back + ((BLOCKS * BLOCK) >> 10) / 2 < full,
            "{full} kB full, {freed} kB freed, {given_back} kB after"
        );
        assert_eq!(blocks.len(), BLOCKS / 40);
    }
}
