//! Windows of delays against brute force on the simulator, and against what textbooks and standards say.

mod naive;

#[path = "advise/brute.rs"]
mod brute;
#[path = "advise/by_hand.rs"]
mod by_hand;
