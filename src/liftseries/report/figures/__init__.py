"""One module a chapter, one function a figure: `draw_x(tables) -> Drawing`; `style.save` writes it."""
