"""From a study folder to checked tables; the only part that opens one."""
