"""How often the membrane tears, and what goes with it.

**No cut-points.** A height below which the membrane tears is what readers ask for; the best cut of a series is a chance
find that the next series does not repeat. `perforation.cutpoints` is not offered, and the report says why.
"""
