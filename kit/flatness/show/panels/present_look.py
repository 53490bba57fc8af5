"""How the Present panel looks: large letters, the picture as high as the screen allows, two pictures on each other."""

from __future__ import annotations

from flatness.show.axes import INK, PALE
from flatness.show.panels.controls import COLOURS, RULE
from flatness.show.panels.present_pictures import Picture

HIGH = 76  # of a picture, of the height of the window [%]
BESIDE_PX, LEAST_PX = 420, 330  # least width of a picture beside the sentences, and of any
# the handle of a slider has no name of its own that a screen reader could say
NAMED = (
    "const box = this.closest('.fk-panel'); if (box) box.addEventListener('focusin', e => { const name = "
    "e.target.closest('.fk-slide')?.querySelector('label')?.textContent; if (name && "
    "e.target.classList.contains('noUi-handle')) e.target.setAttribute('aria-label', name); })"
)
LOOK = f"""<style onload="{NAMED}">
.fk-panel.fk-present {{ max-width:none; padding:10px clamp(10px, 1.4vw, 28px) 14px; font-size:16px }}
.fk-present h2 {{ font-size:clamp(22px, 1.9vw, 34px); line-height:1.2; margin:0; color:{INK}; font-weight:700 }}
.fk-present .fk-head {{ align-items:flex-end; justify-content:space-between; gap:6px 28px }}
.fk-present .fk-head > .widget-html {{ flex:1 1 280px; width:auto; align-self:center }}
.fk-present .fk-none, .fk-present .widget-html:has(> .widget-html-content:empty) {{ display:none }}
.fk-present .fk-show {{ display:flex; flex-flow:row wrap; align-items:flex-start; gap:12px clamp(20px, 2.5vw, 52px);
  overflow:visible; margin-top:8px }}
.fk-present .fk-side {{ flex:1 1 340px; min-width:0; overflow:visible }}
.fk-present .fk-plain {{ columns:auto; column-width:calc(26 * clamp(17px, 0.75vw + 9px, 25px)); column-gap:52px }}
.fk-present .fk-plain p {{ break-inside:avoid; font-size:clamp(17px, 0.75vw + 9px, 25px); line-height:1.4;
  margin:0 0 0.85em; color:{INK}; max-width:42em }}
.fk-present .fk-colours .widget-html-content {{ font-size:clamp(14px, 0.4vw + 9px, 17px); color:{PALE};
  max-width:48em }}
.fk-present .fk-stage {{ position:relative; overflow:visible; width:100%; display:block }}
.fk-present .fk-stage img {{ display:block; width:100%; height:auto; margin:0; max-width:none; border:0 }}
.fk-present .fk-stage.fk-beside {{ display:grid; gap:8px 16px; justify-items:center;
  grid-template-columns:repeat(auto-fit, minmax(min(100%, {LEAST_PX}px), 1fr)) }}
.fk-present .fk-over {{ position:absolute !important; left:0; top:0 }}
.fk-present .fk-line {{ position:absolute; left:0; top:0; width:100%; height:100%; pointer-events:none; margin:0 }}
.fk-present .fk-line div {{ height:100% }}
.fk-present .fk-line i {{ position:absolute; width:3px; margin-left:-1.5px; background:{INK};
  box-shadow:0 0 0 2px #fff }}
.fk-present .fk-slide .widget-inline-hbox {{ align-items:stretch; overflow:visible }}
.fk-present .fk-slide .widget-inline-hbox > .widget-label {{ padding:0 0 0 12px }}
.fk-present .fk-slide .slider-container {{ height:24px; margin:14px 12px 10px; flex:0 0 auto }}
.fk-present .fk-slide .noUi-connect, .fk-present .fk-slide .noUi-connects {{ background:{RULE} }}
.fk-present .fk-slide .noUi-handle {{ width:24px !important; height:24px !important; top:-11px !important;
  right:-12px !important; border:2px solid {INK} !important; background:{COLOURS["accent"][1]} !important }}
.fk-present .fk-slide .noUi-handle:focus {{ outline:3px solid #1b5fa8; outline-offset:2px; transform:none !important }}
.fk-present .fk-slide .widget-readout {{ display:none }}
.fk-present button.jupyter-button {{ height:38px; font-size:16px; line-height:34px }}
.fk-present select, .fk-present input[type=text] {{ height:36px; flex-basis:36px; font-size:15px }}
.fk-present .fk-finish {{ flex-basis:600px }}
.fk-present .fk-finish select {{ font-size:clamp(12px, 1.15vw, 15px); text-overflow:ellipsis }}
.fk-present .fk-files {{ border-top:1px solid {RULE}; border-bottom:1px solid {RULE}; padding:10px 0; margin:8px 0;
  overflow:visible; gap:8px }}
.fk-present .fk-save {{ border-top:1px solid {RULE}; margin-top:8px; padding-top:8px }}
.fk-present a {{ color:#123f73; font-weight:600 }}
</style>"""


def as_wide(name: str, picture: Picture, count: int) -> str:
    """CSS that makes the pictures of the panel ``name`` as large as the window's height allows.

    Several stand beside each other, all of one size, and go onto further lines on a narrow screen.
    """
    across, down = picture.size
    most = f"calc({HIGH}vh * {across / down:.4f})"
    if count > 1:
        size = f".{name}.fk-present .fk-beside img {{ max-width:{most} }}"
        return f"<style>.{name} .fk-picture {{ flex:1 1 100%; min-width:0; overflow:visible }} {size}</style>"
    # the picture takes what room there is before the sentences do, and a line of its own on a tablet held upright
    size = f"flex:2 1 {BESIDE_PX}px; max-width:min(100%, {most}); min-width:min(100%, {LEAST_PX}px); overflow:visible"
    return f"<style>.{name} .fk-picture {{ {size} }}</style>"


def line_at(name: str, picture: Picture, share: float) -> str:
    """CSS and HTML that show the upper picture of the panel ``name`` up to this share of the map, and the line."""
    left, right, top, bottom = picture.part()
    at = left + share * (right - left)
    # beyond the map both pictures are the same: the upper one stays whole there, but for the map's own height
    cut = f"inset(0 {100 * (1 - at):.3f}% 0 0)"
    line = "" if share in (0, 1) else (
        f'<i style="left:{100 * at:.3f}%;top:{100 * top:.3f}%;height:{100 * (bottom - top):.3f}%"></i>'
    )  # fmt: skip
    return f"<style>.{name} .fk-over {{ clip-path:{cut} }}</style>{line}"


def slide_at(name: str, picture: Picture) -> str:
    """CSS that makes the slider of the panel ``name`` as wide as the map, so that its handle is beneath the line."""
    left, right, _, _ = picture.part()
    return (
        f"<style>.{name} .fk-slide {{ margin-left:calc({100 * left:.3f}% - 12px); overflow:visible; "
        f"width:calc({100 * (right - left):.3f}% + 24px); max-width:none }}</style>"
    )
