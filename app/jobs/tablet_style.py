"""How the page for a tablet looks: its colours, its sizes, and the five marks as drawings.

1. Colour means room and nothing else; every verdict has its mark and its word too, and a frame of ink.
2. Light and dark are chosen by the reader's system; on paper the page is black on white, whatever the screen was.
3. Nothing is loaded: no font, no picture, no script. Marks are drawn here, jaws with the room between them.
"""

from __future__ import annotations

from kinematics.verdict import Verdict

# Plates: ground and what is written on it, in light and in dark.
PLATES: dict[Verdict, tuple[tuple[str, str], tuple[str, str]]] = {
    Verdict.HITS: (("#7A1747", "#FFFFFF"), ("#FFB3C9", "#101614")),
    Verdict.CAN_HIT: (("#DA7439", "#15201D"), ("#F58D58", "#101614")),
    Verdict.NOT_CHECKED: (("#BBA0EE", "#15201D"), ("#554BA3", "#FFFFFF")),
    Verdict.TIGHT: (("#FCCB32", "#15201D"), ("#A07F14", "#101614")),
    Verdict.CLEAR: (("#E0F0F0", "#15201D"), ("#283D3B", "#EEF3F0")),
}
SURFACES = {
    "ground": ("#E9ECEA", "#101614"),
    "card": ("#FBFCFB", "#1A2320"),
    "ink": ("#15201D", "#EEF3F0"),
    "quiet": ("#51605B", "#A3B2AC"),
    "line": ("#7C8A85", "#6F807A"),
}

_CROSS = "M7.6 4.4 8.6 3.4 11 5.8 13.4 3.4 14.4 4.4 12 7 14.4 9.6 13.4 10.6 11 8.2 8.6 10.6 7.6 9.6 10 7Z"
_MARKS = {
    Verdict.HITS: f'<path fill-rule="evenodd" d="M0 1H22V13H0Z{_CROSS}"/>',
    Verdict.CAN_HIT: '<path d="M0 1H10V13H0ZM12 1H22V13H12Z"/>',
    Verdict.NOT_CHECKED: '<path d="M0 1H5V13H0ZM17 1H19V3H17ZM20 1H22V3H20ZM17 4.3H19V6.3H17ZM20 4.3H22V6.3H20Z'
    'M17 7.7H19V9.7H17ZM20 7.7H22V9.7H20ZM17 11H19V13H17ZM20 11H22V13H20ZM10 11H12.2V13H10Z"/>'
    '<path fill="none" stroke="currentColor" stroke-width="2" d="M8.2 4.4A2.9 2.7 0 1 1 12.4 6.8Q11.1 7.6 11.1 9.8"/>',
    Verdict.TIGHT: '<path d="M0 1H6V13H0ZM16 1H22V13H16ZM8.5 6H13.5V8H8.5Z"/>',
    Verdict.CLEAR: '<path d="M0 1H2V13H0ZM20 1H22V13H20Z"/>',
}


def mark(verdict: Verdict) -> str:
    """A verdict's mark, 22 by 14, in the colour of the text round it."""
    drawing = _MARKS[verdict]
    return f'<svg class="mark" viewBox="0 0 22 14" width="22" height="14" aria-hidden="true">{drawing}</svg>'


def plate_class(verdict: Verdict) -> str:
    """The class of what wears a verdict's colours."""
    return f"is-{verdict.name.lower().replace('_', '-')}"


def style() -> str:
    """The whole style sheet."""
    light, dark = (_variables(scheme) for scheme in (0, 1))
    plates = "\n".join(
        f".{plate_class(v)}{{background:var(--{v.name.lower()});color:var(--on-{v.name.lower()})}}" for v in PLATES
    )
    return f":root{{{light}}}\n@media screen and (prefers-color-scheme:dark){{:root{{{dark}}}}}\n{plates}\n{_RULES}"


def _variables(scheme: int) -> str:
    pairs = [(name, colours[scheme]) for name, colours in SURFACES.items()]
    for verdict, plates in PLATES.items():
        fill, text = plates[scheme]
        pairs += [(verdict.name.lower(), fill), (f"on-{verdict.name.lower()}", text)]
    return ";".join(f"--{name}:{colour}" for name, colour in pairs)


_RULES = """
*{box-sizing:border-box}
html{color-scheme:light dark;-webkit-text-size-adjust:100%}
body{margin:0 auto;max-width:1040px;padding:16px;background:var(--ground);color:var(--ink);
 font:16px/1.4 "DejaVu Sans Condensed","Liberation Sans Narrow",system-ui,sans-serif;
 font-variant-numeric:tabular-nums slashed-zero;overflow-wrap:anywhere}
.plate:not(.verdict),th{white-space:nowrap}
td.head{min-width:3.5em}
h1,h2,h3,p,ul,ol,dl,dd,figure{margin:0;padding:0}
h1{font-size:24px;line-height:1.2}
h2{font-size:15px;letter-spacing:.04em;margin-bottom:8px}
h3{font-size:18px;line-height:1.25}
ul{list-style:none}
li+li,p+p{margin-top:4px}
section,header{background:var(--card);border:1px solid var(--line);padding:12px;margin-bottom:12px}
.quiet,figcaption,dt,th,footer{color:var(--quiet)}
footer{padding:0 12px;font-size:14px}
.plate{display:inline-flex;align-items:center;gap:8px;border:1px solid var(--ink);padding:4px 8px;font-weight:700}
.plate .mark{flex:none}
.verdict{display:flex;margin:12px 0;padding:10px 12px;font-size:20px;line-height:1.25}
.verdict .mark{width:44px;height:28px}
.say{font-size:18px}
.loud{border:3px solid var(--ink)}
.loud h2{font-size:18px}
img{display:block;width:100%;height:auto;border:1px solid var(--line);background:var(--card)}
.drawn{position:relative}
.pin{position:absolute;width:2px;height:22px;margin:-22px 0 0 -1px;background:var(--ink);outline:1px solid var(--card)}
.pin i{position:absolute;left:-9px;top:-10px;width:20px;height:20px;border:1px solid var(--ink);background:var(--card);
 color:var(--ink);font:700 13px/18px sans-serif;text-align:center}
.toyou{position:absolute;left:4px;bottom:4px;display:flex;align-items:center;gap:4px;padding:2px 6px;
 background:var(--card);color:var(--ink);border:1px solid var(--ink);font-size:13px;font-weight:700}
.legend{list-style:none;margin:4px 0 0;padding:0;display:flex;flex-wrap:wrap;gap:2px 16px}
.legend li+li{margin:0}
figcaption{font-size:14px;padding-top:4px}
.missing{border:1px dashed var(--line);padding:12px}
table.zero{max-width:420px}
table{border-collapse:collapse;width:100%}
th{text-align:left;font-weight:400;font-size:14px;vertical-align:bottom}
td,th{padding:6px 8px 6px 0;vertical-align:top}
tr+tr td,thead+tbody td{border-top:1px solid var(--line)}
.n{text-align:right;white-space:nowrap}
.mark{fill:currentColor}
svg path{fill:currentColor}
.mark path[stroke]{fill:none}
.set{font-size:24px;font-weight:700;line-height:1.1}
.under{font-size:18px;font-weight:700}
.blank{display:inline-block;min-width:64px;border-bottom:1px solid var(--ink)}
.watch{display:grid;gap:12px;border-top:1px solid var(--line);padding-top:12px;margin-top:12px}
.watch .pictures{display:grid;gap:8px}
.watch h3{display:flex;flex-wrap:wrap;align-items:center;justify-content:space-between;gap:4px 12px;margin-bottom:4px}
.watch h3 .plate{font-size:14px}
.gap{font-size:26px;font-weight:700;line-height:1.2}
.stop{font-size:20px;font-weight:700}
.seen{font-weight:700}
dl{display:grid;grid-template-columns:max-content 1fr;gap:4px 12px}
.sign{display:flex;flex-wrap:wrap;gap:12px 24px}
.sign .blank{min-width:96px}
@media (max-width:599px){
 body{padding:8px}
 thead{position:absolute;width:1px;height:1px;overflow:hidden;clip-path:inset(50%)}
 tbody,tr{display:block}
 tr{border-top:1px solid var(--line);padding:8px 0}
 tbody tr:first-child{border-top:0}
 td,tr+tr td,thead+tbody td{display:flex;justify-content:space-between;gap:12px;border:0;padding:2px 0;text-align:right}
 td::before{content:attr(data-label);color:var(--quiet);font-size:14px;text-align:left;flex:none;max-width:45%}
 td.head{font-size:18px;font-weight:700;text-align:left}
 td.head::before{content:none}
 dl{display:block}
 dt{margin-top:8px}
}
@media (min-width:700px){
 .pair{display:grid;grid-template-columns:1fr 1fr;gap:12px;align-items:start}
 .watch .pictures{grid-template-columns:1fr 1fr}
}
@media print{
 @page{margin:12mm}
 html{color-scheme:light}
 body{padding:0;max-width:none;background:#fff;color:#000;font-size:10pt}
 section,header{border-color:#000;background:#fff}
 .plate{background:#fff;color:#000;border:1px solid #000}
 .is-hits.verdict,.is-can-hit.verdict{background:#000;color:#fff;print-color-adjust:exact;-webkit-print-color-adjust:exact}
 .quiet,figcaption,dt,th,footer{color:#000}
 .watch,tr,figure{break-inside:avoid}
 h2,h3{break-after:avoid}
}
"""
