"""A small language model that reads a transcript in context: each word with what stands before and after it."""

from notesmith.language.encoder import Encoder, load_layers, told_by, unpacked, windows_of
from notesmith.language.pieces import Pieces, load_pieces

__all__ = ["Encoder", "Pieces", "load_layers", "load_pieces", "told_by", "unpacked", "windows_of"]
