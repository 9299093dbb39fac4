//! `link`: skeleton, being filled.
