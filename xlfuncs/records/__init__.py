"""Records that live: old workbooks carried on, and lines kept elsewhere taken into one."""
