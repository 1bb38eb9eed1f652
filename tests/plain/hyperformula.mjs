// Computes sheets of formulas (JSON on stdin) with HyperFormula; values and version to stdout.
import { readFileSync } from 'fs'
import { HyperFormula } from 'hyperformula'

const sheets = JSON.parse(readFileSync(0, 'utf8'))
const engine = HyperFormula.buildFromSheets(sheets, { licenseKey: 'gpl-v3', smartRounding: false })
const plain = (value) => (value !== null && typeof value === 'object' ? String(value.value) : value)
const values = {}
for (const title of Object.keys(sheets)) {
  values[title] = engine.getSheetValues(engine.getSheetId(title)).map((row) => row.map(plain))
}
console.log(JSON.stringify({ version: HyperFormula.version, values }))
