"""From a study folder to checked tables; the only part that opens one.

**What goes when a row is set aside** (`set_aside.py`). *Choice:* a bad pass takes the site's whole log, a bad visit the
site's whole follow-up; a repeated key takes all its rows, since nobody can tell which is right. The site stays.
*Rival:* the bad row alone, which keeps more and can be wrong in silence.
"""
