//! `dashboard`: skeleton, being filled.
