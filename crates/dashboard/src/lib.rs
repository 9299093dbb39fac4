//! `dashboard`: the local page and its event stream. It takes views as finished JSON text, serves one embedded page
//! with server-sent events, and passes the mechanic's acts on.
//!
//! Does not: decide anything, know rules or readings, or listen beyond the loopback interface unless the caller
//! explicitly asks for it.
//!
//! ```text
//! daemon --watch(view JSON)--> relay --changed views--> /events --> page
//! daemon --watch(route JSON)---------------------------> /route --> page
//! daemon <--mpsc(ActRequest)-- /act <------------------------------ page
//! ```
//! The daemon sends its view at least once a second, changed or not, and at once when something happens. A view that
//! differs only in `seq`, `now_ms` and fractions of a second of `live.age_ms` is not sent to the page; it renews the
//! age of the view on display, and a heartbeat once a second tells the page that age. The page treats a view that was
//! not renewed for 4 s as a lost link, so a daemon that hangs behind a live server never leaves a stale verdict on
//! the screen.

mod act;
mod config;
mod connection;
mod events;
pub mod guard;
mod page;
mod relay;
mod routes;
mod serve;
mod slots;
mod stall;

pub use act::ActRequest;
pub use config::{Config, Limits, ServeError};
pub use page::PAGE_BUDGET_BYTES;
pub use serve::{Texts, serve};
