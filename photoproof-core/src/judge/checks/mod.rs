//! One file per check; the file name is the check's id with underscores.
