//! Many fish to a tank's proportions, lengths and intervals; comparisons of tanks.
