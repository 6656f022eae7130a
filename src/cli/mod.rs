//! Arguments to validated options, one file a command, the one printer.
