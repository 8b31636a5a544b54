//! The same tasks in a browser, served by the same program.
