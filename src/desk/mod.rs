//! The local web page for the sampling bench.
