"""LibreOffice Calc: the add-in made from the catalogue, and the office run without a window.

`addin` builds the extension (`typelibrary` writes its binary part), and `edge` is where Calc and
the boundary meet.  `offices` finds the offices of this computer, `install` puts the add-in into the
user's own, and `runner` computes and prints workbooks.  The folder `inside` is no package: it holds
the two scripts that only an office's own Python can load.
"""
