"""The dry run: job.html, one file that opens without a server and shows every move with the ice at that moment."""
