"""Finding references and blocks in photos: everything that reads pixels."""

from ..errors import OpenCVMissing

try:
    import cv2  # noqa: F401  (looked for here, so that all rooms say the same)
except ModuleNotFoundError:
    raise
except ImportError as error:  # a bare server lacks what OpenCV's window code needs
    raise OpenCVMissing(
        f"OpenCV cannot be loaded ({error}).",
        "On Debian: apt-get install -y libgl1 libglib2.0-0, then try again.",
    ) from error
