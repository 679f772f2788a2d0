//! Windows of delays against brute force on the simulator, and against what textbooks and standards say.

#[expect(dead_code, reason = "of the second implementation of the rules only its random rigs are needed here")]
mod naive;

#[path = "advise/brute.rs"]
mod brute;
#[path = "advise/by_hand.rs"]
mod by_hand;
