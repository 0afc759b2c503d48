"""Writes the trained weights as the library reads them: 16-bit floats, little endian, layer after layer.

python export.py FOLDER_WITH_NPZ ../../photoproof-core/src/ingest/stamp
"""

import os
import sys

import numpy as np


def main():
    source, target = sys.argv[1:3]
    for name in ("finder", "reader"):
        layers = np.load(os.path.join(source, f"{name}.npz"))
        numbers = np.concatenate([layers[key].reshape(-1) for key in layers.files])
        assert np.abs(numbers).max() < 60000
        path = os.path.join(target, f"{name}.f16")
        numbers.astype("<f2").tofile(path)
        print(path, len(numbers), "numbers", os.path.getsize(path), "bytes", layers.files)


if __name__ == "__main__":
    main()
