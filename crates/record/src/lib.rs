//! `record`: skeleton, being filled.
