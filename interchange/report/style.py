"""How a report looks: plain type, black on white, wide enough to read, narrow enough for a phone, ready to print."""

from __future__ import annotations

__all__ = ["STYLE"]

STYLE = """
:root{color-scheme:light;--ink:#1a1a1a;--soft:#4a4a4a;--line:#8a8a8a;--faint:#d5d5d5;--link:#0b4a6f;--bad:#8f1d1d;
--look:#6b4700}
*{box-sizing:border-box}
html{background:#fff;color:var(--ink);font:1rem/1.5 system-ui,"Noto Sans","DejaVu Sans",Verdana,sans-serif}
body{margin:0 auto;padding:1rem clamp(.75rem,3vw,2.5rem) 3rem;max-width:78rem;overflow-wrap:anywhere}
h1{font-size:1.6rem;line-height:1.25;margin:.5rem 0}
h2{font-size:1.25rem;margin:2.25rem 0 .5rem;padding-top:.75rem;border-top:2px solid var(--ink)}
h3{font-size:1.05rem;margin:1.5rem 0 .4rem}
p,ul,dl{margin:.4rem 0}
p,li,dd,td,th,h1,figcaption{unicode-bidi:plaintext}
a{color:var(--link)}
a:focus-visible,[tabindex]:focus-visible{outline:3px solid var(--link);outline-offset:2px}
.skip{position:absolute;left:-100vw}
.skip:focus{position:static}
nav ul{list-style:none;padding:0;display:flex;flex-wrap:wrap;gap:.25rem 1.25rem}
.lead{font-size:1.1rem;font-weight:600}
.note,figcaption,footer{color:var(--soft);font-size:.9rem}
.alarm{font-weight:600;color:var(--bad)}
dl{display:grid;grid-template-columns:minmax(6rem,max-content) 1fr;gap:.15rem 1.25rem}
dt{font-weight:600;grid-column:1}
dd{margin:0;grid-column:2;min-width:0}
.scroll{overflow-x:auto;max-width:100%}
table{border-collapse:collapse;font-size:.95rem}
caption{text-align:start;font-weight:600;padding:.5rem 0}
th,td{text-align:start;vertical-align:top;padding:.25rem .75rem .25rem 0;border-bottom:1px solid var(--faint)}
thead th{border-bottom:2px solid var(--line)}
tbody th{font-weight:500}
th,td{overflow-wrap:break-word;max-width:32rem}
tbody th,td{min-width:4rem}
td.w{min-width:14rem}
.n{text-align:end;font-variant-numeric:tabular-nums;white-space:nowrap}
small{display:block;color:var(--soft)}
figure{margin:1rem 0}
.side{display:flex;flex-wrap:wrap;gap:.5rem 3rem;align-items:flex-start}
.side>*{min-width:0}
.picture svg{display:block;height:auto}
.findings{list-style:none;padding:0}
.findings li{border-inline-start:.35rem solid var(--line);padding:.15rem 0 .15rem .75rem;margin:.6rem 0}
.findings .error{border-color:var(--bad)}
.findings .warning{border-color:var(--look);border-inline-start-style:double}
.findings .note{font-size:1rem;color:inherit;border-inline-start-style:dotted}
.findings b{text-transform:capitalize}
.findings .error b{color:var(--bad)}
.findings .warning b{color:var(--look)}
.findings span{display:block;color:var(--soft);font-size:.9rem}
.leads{list-style:none;padding:0;display:grid;grid-template-columns:repeat(6,1fr);gap:.5rem}
.leads li{border:2px solid var(--ink);padding:.35rem .6rem;min-height:3.6rem}
.leads b{display:block;font-size:1.1rem}
.leads .present{background:#e3e9ec}
.leads .derived{border-style:dashed}
.leads .missing{border-style:dotted;border-color:var(--line);
background:repeating-linear-gradient(135deg,#fff 0 .6rem,#efefef .6rem .75rem)}
@media (max-width:40rem){dl{grid-template-columns:1fr}dd{grid-column:1;padding-inline-start:1rem}
.leads{grid-template-columns:repeat(3,1fr)}.leads li{padding:.25rem .4rem;font-size:.9rem}}
@page{size:landscape;margin:6mm}
@media print{html{font-size:9.5pt}body{padding:0;max-width:none}nav,.skip{display:none}.scroll{overflow:visible}
h2,h3,caption,h2+.note{break-after:avoid}figure,tr,.findings li,.leads li{break-inside:avoid}a{color:inherit}}
"""
