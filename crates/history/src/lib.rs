//! `history`: skeleton, being filled.
