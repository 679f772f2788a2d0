//! The rig.
