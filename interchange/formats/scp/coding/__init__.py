"""Coding of samples: Huffman codes, differences, bimodal data, the reference beat (EN 1064 Annex C)."""
