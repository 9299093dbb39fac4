//! Test support: skeleton, being filled.
