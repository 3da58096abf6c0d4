//! Reader of SVG files.
