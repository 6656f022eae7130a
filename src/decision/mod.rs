//! Advice with its reason and what would change it: grader, screen, sample size, cannibalism risk.
