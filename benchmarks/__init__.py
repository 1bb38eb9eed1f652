"""Speed and memory, as ratios against a baseline that is measured in the same run."""
