//! Numeric algorithms with references: pure functions, no knowledge of fish or files.
