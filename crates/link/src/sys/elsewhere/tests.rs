//! Made-up port lists of Windows and macOS.
