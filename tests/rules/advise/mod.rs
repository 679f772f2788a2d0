//! Windows of delays against brute force on the simulator, and against what textbooks and standards say.

mod brute;
mod by_hand;
mod likely;
