//! Reader of CSV files.
