//! The look of the page: a ledger in dark green, thin rules, on screens of any width and on paper.

/// The style sheet. It names no font file and no picture: nothing is fetched.
pub(super) const STYLE: &str = "
:root { --ink: #1f2b24; --green: #2f4a3a; --grey: #55605a; --rule: #b9c4bc; --pale: #eef2ee; }
* { box-sizing: border-box; }
html { -webkit-text-size-adjust: 100%; text-size-adjust: 100%; }
body { margin: 0 auto; padding: 1rem 0.8rem 3rem; max-width: 58rem; color: var(--ink); background: #fff;
  font: 1rem/1.5 Arial, 'Liberation Sans', Helvetica, sans-serif; overflow-wrap: anywhere; }
h1, h2, h3 { color: var(--green); line-height: 1.25; overflow-wrap: anywhere; break-after: avoid; }
h1 { font-size: 1.6rem; margin: 0.5rem 0; padding-bottom: 0.4rem; border-bottom: 2px solid var(--green); }
h2 { font-size: 1.25rem; margin: 2.6rem 0 0.6rem; padding-top: 0.5rem; border-top: 3px double var(--green); }
h3 { font-size: 1.05rem; margin: 1.6rem 0 0.4rem; }
p, ul, dl { margin: 0.5rem 0; max-width: 42rem; }
ul { padding-left: 1.2rem; }
li { margin: 0.25rem 0; }
a { color: var(--green); }
code { font-size: 0.9em; overflow-wrap: anywhere; }
nav ul { list-style: none; padding: 0; columns: 16rem; column-gap: 1.5rem; max-width: none; }
.aside, figcaption, caption { color: var(--grey); font-size: 0.9rem; }
.sum { font-size: 1.15rem; margin: 1rem 0; padding: 0.6rem 0; border-top: 1px solid var(--green);
  border-bottom: 3px double var(--green); }
.sum strong { white-space: nowrap; }
.care { margin: 1rem 0; padding: 0.4rem 0.9rem 0.6rem; border: 2px solid var(--green); max-width: 42rem;
  break-inside: avoid; }
.care h3 { margin: 0.4rem 0; }
dt { font-weight: bold; }
dd { margin: 0 0 0.4rem 0; }
dl.ledger { display: grid; grid-template-columns: minmax(6rem, 15rem) minmax(0, 1fr); }
dl.ledger dt { font-weight: normal; color: var(--grey); }
dl.ledger dt, dl.ledger dd { margin: 0; padding: 0.2rem 0.5rem 0.2rem 0; border-bottom: 1px solid var(--rule); }
figure { margin: 1rem 0; max-width: 32rem; break-inside: avoid; }
figure svg { display: block; width: 100%; height: auto; }
figcaption { margin-top: 0.3rem; }
.table { overflow-x: auto; margin: 0.8rem 0; }
table { border-collapse: collapse; width: 100%; font-size: 0.94rem; font-variant-numeric: tabular-nums; }
caption { text-align: left; padding-bottom: 0.3rem; }
th, td { padding: 0.3rem 0.5rem; text-align: left; vertical-align: top; overflow-wrap: anywhere; }
tbody th { font-weight: normal; min-width: 6.5em; }
thead th { background: var(--green); color: #fff; vertical-align: bottom; overflow-wrap: normal; }
tbody tr { border-bottom: 1px solid var(--rule); break-inside: avoid; }
.figure { text-align: right; overflow-wrap: normal; }
@media (min-width: 60rem) {
  .pair { display: grid; grid-template-columns: 1fr 1fr; column-gap: 2rem; align-items: start; }
  .pair > * { min-width: 0; }
}
@media (max-width: 30rem) {
  table { font-size: 0.84rem; }
  th, td { padding: 0.25rem 0.3rem; }
  tbody th { min-width: 5em; }
}
@page { margin: 16mm 15mm; }
@media print {
  html { font-size: 9.5pt; }
  body { max-width: none; padding: 0; font-size: 1rem; line-height: 1.4; }
  th, td { padding: 0.18rem 0.4rem; }
  nav { display: none; }
  h2 { margin-top: 1.4rem; }
  h2.leaf { break-before: page; margin-top: 0; }
  .families { display: grid; grid-template-columns: 1fr 1fr; column-gap: 8mm; }
  .families > * { min-width: 0; break-inside: avoid; }
  figure { max-width: 10.5cm; }
  figure.tall svg { width: auto; max-height: 16cm; max-width: 12.5cm; }
  .families figure.tall svg { width: 100%; max-width: none; max-height: none; }
  .table { overflow: visible; }
  .table.short { break-inside: avoid; }
  section > p:first-of-type, caption { break-after: avoid; }
  thead { display: table-header-group; }
  thead th { background: none; color: var(--green); border-top: 1px solid var(--green);
    border-bottom: 1px solid var(--green); }
  p, li { orphans: 3; widows: 3; }
  a { color: inherit; text-decoration: none; }
}
";
