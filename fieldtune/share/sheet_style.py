"""How a pit sheet looks. No page size is named: it fits A4 and Letter alike. No colour carries a meaning.

What people wrote is kept to one line or a few (ellipsis, line-clamp), so that no font makes a second page of it.
"""

STYLE = """
@page { margin: 9mm 10mm; }
* { box-sizing: border-box; }
html { background: #fff; color: #000; }
body { margin: 0 auto; max-width: 192mm; font: 9.2pt/1.28 "Helvetica Neue", Helvetica, Arial, "Liberation Sans",
  "DejaVu Sans", sans-serif; overflow-wrap: anywhere; }
header { display: flex; justify-content: space-between; align-items: flex-end; gap: 6mm;
  border-bottom: 1.2mm solid #000; padding-bottom: 1.5mm; }
h1 { font-size: 21pt; line-height: 1.05; margin: 0; max-height: 16mm; overflow: hidden; }
h1.long { font-size: 14pt; }
header p { margin: 0; text-align: right; white-space: nowrap; font-size: 9.5pt; }
header strong { font-size: 12pt; }
h2 { font-size: 9.5pt; margin: 0 0 .8mm; padding-bottom: .4mm; border-bottom: .35mm solid #000; }
.arcs { display: flex; gap: 3mm; margin: 2.2mm 0 2mm; }
figure { flex: 1 1 0; margin: 0; border: .25mm solid #777; padding: 1mm 1.4mm .6mm; min-width: 0; }
figcaption { display: flex; justify-content: space-between; align-items: baseline; font-size: 9pt; gap: 2mm; }
figcaption b { font-size: 13pt; white-space: nowrap; }
figcaption span { min-width: 0; white-space: nowrap; overflow: hidden; text-overflow: ellipsis; }
.small { display: flex; justify-content: space-between; gap: 3mm; font-size: 7.6pt; color: #222; }
svg.arc { display: block; width: 100%; }
table { border-collapse: collapse; width: 100%; }
th { font-size: 8pt; text-align: right; font-weight: normal; padding: 0 2mm .4mm; vertical-align: bottom; }
th:first-child, td:first-child { text-align: left; }
.drive th { white-space: nowrap; }
.drive th:first-child, .drive td:first-child { text-align: right; }
.drive th.spot { text-align: left; }
.drive td { font-size: 16pt; line-height: 7.7mm; height: 7.7mm; padding: 0 2mm; text-align: right; white-space: nowrap;
  border-top: .2mm solid #777; font-variant-numeric: tabular-nums; }
.drive td.set { font-size: 20pt; font-weight: bold; border-left: .35mm solid #000; border-right: .35mm solid #000; }
.drive td.near { font-size: 10.5pt; }
.drive td.spot { font-size: 10pt; font-weight: bold; text-align: left; white-space: normal; line-height: 1.05; }
.drive td.hand { width: 27mm; border-left: .2mm dotted #777; }
.drive tr.named td { border-top: .6mm solid #000; }
.drive { border-bottom: .6mm solid #000; }
.notes { display: flex; gap: 4mm; margin-top: 2.4mm; }
.notes > section { flex: 1 1 0; min-width: 0; }
.notes > section.narrow { flex: 0 0 52mm; }
.notes td { padding: .15mm 0; font-size: 8.6pt; }
.notes table, .notes tbody { display: block; }
.notes tr { display: flex; justify-content: space-between; border-bottom: .15mm dotted #999; }
.notes td + td { text-align: right; padding-left: 2mm; font-weight: bold; white-space: nowrap; }
.notes .label { min-width: 0; white-space: nowrap; overflow: hidden; text-overflow: ellipsis; }
li span { display: -webkit-box; -webkit-box-orient: vertical; overflow: hidden; }
.notes li span { -webkit-line-clamp: 2; }
.cautions li span { -webkit-line-clamp: 4; }
ul { margin: 0; padding-left: 3.4mm; }
li { font-size: 8.2pt; line-height: 1.22; }
.cautions { border: .6mm solid #000; padding: 1.2mm 2mm; margin-top: 2.2mm; }
.cautions ul { columns: 2; column-gap: 5mm; }
.cautions li { font-size: 7.8pt; break-inside: avoid; }
footer { margin-top: 1mm; font-size: 7.4pt; color: #222; }
.more { break-before: page; }
.more h2 { font-size: 12pt; margin-top: 4mm; }
.log td, .log th { font-size: 8pt; text-align: right; padding: .3mm 1.6mm; border-bottom: .15mm dotted #999; }
.log td.words, .log th.words, .log td:first-child, .log th:first-child { text-align: left; }
.log thead { display: table-header-group; }
.log tr { break-inside: avoid; }
@media screen { body { padding: 8mm 4mm; } }
@media screen and (max-width: 700px) { .arcs, .notes, header { flex-wrap: wrap; }
  figure, .notes > section { flex: 1 1 60mm; } }
"""
