//! The code that pairs one display: six digits, five minutes, five tries.

use sha2::{Digest as _, Sha256};

use super::{AccessError, random};

/// How long a code goes, nanoseconds.
const GOES_NS: u64 = 300_000_000_000;
/// Wrong codes after which it is void: one guess in 200,000 would be right.
const TRIES: u32 = 5;
const CODES: u32 = 1_000_000;

#[derive(Debug)]
pub(super) struct Pairing {
    code: String,
    until_ns: u64,
    tries: u32,
}

impl Pairing {
    pub(super) fn open(now_ns: u64) -> Result<Self, AccessError> {
        // Numbers beyond the last whole million would make small codes likelier.
        let fair = u32::MAX / CODES * CODES;
        let mut number = u32::MAX;
        while number >= fair {
            number = u32::from_le_bytes(random()?);
        }
        Ok(Self {
            code: format!("{:06}", number % CODES),
            until_ns: now_ns.saturating_add(GOES_NS),
            tries: TRIES,
        })
    }

    /// The code, and for how many seconds it goes.
    pub(super) fn told(&self, now_ns: u64) -> (String, u64) {
        let left_ns = self.until_ns.saturating_sub(now_ns);
        (self.code.clone(), left_ns / 1_000_000_000)
    }

    /// Whether this is the code, in time and in few tries.
    pub(super) fn tried(&mut self, code: &str, now_ns: u64) -> bool {
        let Some(left) = self.tries.checked_sub(1) else {
            return false;
        };
        self.tries = left;
        // Spaces are how people read six digits.
        let digits: String = code
            .chars()
            .filter(|c| !c.is_whitespace())
            .take(7)
            .collect();
        let same = Sha256::digest(digits) == Sha256::digest(&self.code);
        same && now_ns < self.until_ns
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_code_goes_for_five_tries_and_five_minutes() {
        let fresh = || Pairing::open(0).unwrap();
        let mut pairing = fresh();
        let code = pairing.code.clone();
        assert!(code.len() == 6 && code.bytes().all(|b| b.is_ascii_digit()));
        assert_eq!(pairing.told(0), (code.clone(), 300));
        assert!(pairing.tried(&format!(" {} {} ", &code[..3], &code[3..]), 0));
        for longer in [format!("{code}0"), format!("0{code}"), String::new()] {
            assert!(!fresh().tried(&longer, 0));
        }
        let mut pairing = fresh();
        let code = pairing.code.clone();
        assert!(!pairing.tried(&code, GOES_NS));
        (1..TRIES).for_each(|_| assert!(!pairing.tried("wrong", 0)));
        assert!(!pairing.tried(&code, 0), "void");
    }
}
