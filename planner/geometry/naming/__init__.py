"""What made these holes? Measured holes explained as mounts of known patterns, or by none."""
