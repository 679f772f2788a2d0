//! What is known already, in parts that do not wait for each other.

use std::collections::HashMap;
use std::hash::{BuildHasher, Hash, RandomState};
use std::sync::{Mutex, PoisonError};

/// Values that were worked out, by what they hang on.
pub(super) struct Kept<K, V> {
    parts: Vec<Mutex<HashMap<K, V>>>,
    hasher: RandomState,
}

const PARTS: usize = 16;
/// So many of a kind are kept at the most; beyond, they are worked out again. One is some 100 bytes.
const MOST_KEPT: usize = 1 << 19;

impl<K: Hash + Eq + Clone, V: Clone> Kept<K, V> {
    pub(super) fn new() -> Self {
        Self { parts: (0..PARTS).map(|_| Mutex::new(HashMap::new())).collect(), hasher: RandomState::new() }
    }

    pub(super) fn get(&self, key: &K, make: impl FnOnce() -> V) -> V {
        let part = &self.parts[(self.hasher.hash_one(key) as usize) % PARTS];
        if let Some(known) = part.lock().unwrap_or_else(PoisonError::into_inner).get(key) {
            return known.clone();
        }
        let made = make();
        let mut part = part.lock().unwrap_or_else(PoisonError::into_inner);
        if part.len() < MOST_KEPT / PARTS {
            part.insert(key.clone(), made.clone());
        }
        made
    }
}
