"""Every way a photo or a cell can be doubted or held back, as records; tables, report legend and docs use them."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Reason:
    """One reason.

    Attributes
    ----------
    code : str
        Stored in tables.
    short : str
        On screen.
    advice : str
        What a person can do about it, one sentence.
    blocks : bool
        True: the photo is set aside or the cell is not offered; False: a remark only.
    """

    code: str
    short: str
    advice: str
    blocks: bool


_ALL: tuple[Reason, ...] = (
    # photos set aside
    Reason("empty_file", "file is empty", "Copy the photo again from the camera.", True),
    Reason("cannot_open", "file cannot be opened", "Check the file and its rights.", True),
    Reason("not_an_image", "not an image", "Remove the file, or save it as JPEG, PNG, TIFF, WebP or HEIC.", True),
    Reason("truncated", "photo is cut short", "Copy the photo again; the transfer stopped early.", True),
    Reason("too_large", "picture claims too many pixels", "Save the photo at 100 megapixels or less.", True),
    Reason("file_too_large", "file is too large", "Remove it, or raise `photo_max_mb` under `[store]`.", True),
    Reason("too_small", "picture is too small", "Take the photo with more pixels.", True),
    Reason("animated", "animation, not a photo", "Save one frame as JPEG or PNG.", True),
    Reason("missing", "listed photo is absent", "Correct the name in the tray list or bring the file.", True),
    Reason("not_listed", "photo fits no line of the tray list", "Add a line for it to the tray list.", True),
    Reason("two_lines", "fits two lines of the tray list", "Name the photo in `photo` of one of them.", True),
    Reason("tray_list", "its line of the tray list is wrong", "Correct the line and run again.", True),
    Reason("no_photos", "folder without photos", "Give the folder that holds the photos.", True),
    Reason("tray_not_found", "tray not found", "Free the corner markers or give `corners` in the tray list.", True),
    Reason("doubtful_fit", "tray corners do not fit", "Check layout, marker places and `corners`.", True),
    Reason(
        "camera_moved",
        "not where the saved view shows it",
        "Inspect the corners, put camera and tray back, or save the view anew.",
        True,
    ),
    Reason(
        "which_tray",
        "which of several trays is not clear",
        "Photograph each tray on its own, or give `corners` for each.",
        True,
    ),
    Reason("which_layout", "two layouts fit equally well", "Name the layout in the tray list.", True),
    Reason("blurred", "photo is blurred", "Hold still, focus on the leaves and take it again.", True),
    Reason("moved", "camera or plants moved", "Rest the camera, give more light or a shorter exposure.", True),
    Reason("too_coarse", "too few pixels per millimetre", "Go nearer, or photograph with more pixels.", True),
    Reason("cut_off", "tray is cut off", "Step back until the whole tray is in the photo.", True),
    Reason(
        "unclear", "plants not told from the ground", "Give more and whiter light, clear the ground, go nearer.", True
    ),
    Reason("duplicate", "same picture twice", "Nothing to do; it is measured once.", True),
    Reason("covered", "something lies over the cell", "Lift hand, hose or tool and take the photo again.", True),
    Reason("sown_in_future", "sown after the photo", "Correct `sown_on` or the camera's date.", True),
    Reason("out_of_memory", "needs too much memory", "Save it smaller, or raise `worker_memory_mb`.", True),
    Reason("process_died", "ended its process twice", "Save the photo anew or remove it; the rest went on.", True),
    Reason("too_slow", "took too long twice", "Save the photo smaller, or raise `photo_max_s`.", True),
    Reason("failed", "unexpected failure", "Report the message with the photo; the rest went on.", True),
    # remarks on a photo
    Reason(
        "file_date", "time from the file's date", "Let the camera write the time, or put it in the file name.", False
    ),
    Reason("no_time", "time unknown", "Let the camera write the time, or put it in the file name.", False),
    Reason("layout_chosen", "layout chosen from the picture", "Name it in the tray list to be sure.", False),
    Reason("coarse", "few pixels per millimetre", "Go nearer, or photograph with more pixels.", False),
    Reason(
        "opinions_differ", "two ways to see plants disagree", "Look at the outlines before relying on areas.", False
    ),
    # remarks on a photo's light
    Reason(
        "purple_light", "purple grow light", "Photograph under white light; area holds, colour is not judged.", False
    ),
    Reason("colour_cast", "coloured light", "Photograph under white light, or set the camera's white balance.", False),
    Reason("colour_corrected", "colours corrected by the card", "Nothing to do; the card is seen well.", False),
    Reason("card_unseen", "colour card not seen well", "Lay the card flat, unshaded, where the settings say.", False),
    Reason("card_doubtful", "colour card fits badly", "Clean or renew the card and keep shade off it.", False),
    Reason("uneven_light", "uneven light", "Colours are evened; hang lamps higher for even growth.", False),
    Reason(
        "glare", "lamps mirrored on the tray", "Turn lamp or camera until nothing shines, or let leaves dry.", False
    ),
    Reason("tilted", "camera tilted", "Hold the camera straight above the tray.", False),
    Reason("clipped", "over- or underexposed", "Set the exposure so that the brightest leaf keeps its colour.", False),
    Reason("dark", "photo is dark", "Give more light or a longer exposure.", False),
)

REASONS: dict[str, Reason] = {reason.code: reason for reason in _ALL}
