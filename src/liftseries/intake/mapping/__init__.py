"""The reading of a centre's file drafted: its headers compared with the dictionary, what is certain filled in.

**Certain, or a question.** *Situation:* a column called `Height` may be either of two. *Choice:* a header that means
one column by its name, and whose cells are of that kind, is filled in; anything else is a `?` with its candidates,
which `check` refuses until somebody has answered. *Rival:* the best guess, which is wrong in silence.

**Shapes, never texts.** A draft shows that cells look like `AA99` or `9,9`. Words are written only where they are of
our own lists, such as `ja`; other words of a category are counted.
"""
