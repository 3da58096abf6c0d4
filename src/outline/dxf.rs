//! Reader of DXF files.
