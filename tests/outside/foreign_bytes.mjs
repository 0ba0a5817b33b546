// Bytes of a second independent generator (npm @point-of-sale/receipt-printer-encoder 4), for the galley.
//
// node foreign_bytes.mjs FILE    writes the sample that tests/print_foreign.rs draws
import { writeFileSync } from 'node:fs';
import { createRequire } from 'node:module';

// Installed beside the working folder, not beside this file.
const Encoder = createRequire(process.cwd() + '/')('@point-of-sale/receipt-printer-encoder');

const bytes = new Encoder({ language: 'esc-pos', columns: 48, newline: '\n' })
  .initialize()
  .codepage('cp858')
  .align('center')
  .bold(true)
  .size(2, 2)
  .line('Tern & Thistle')
  .size(1, 1)
  .bold(false)
  .align('left')
  .line('2 x Mug, tide grey, for Zoë')
  .underline(true)
  .line('underlined')
  .underline(false)
  .invert(true)
  .line('white on black')
  .invert(false)
  .table([{ width: 8, align: 'left' }, { width: 12, align: 'right' }], [['Bowl', '24.50'], ['Tin', '9.80']])
  .rule()
  .align('center')
  .qrcode('S-443', { model: 2, size: 6, errorlevel: 'm' })
  .newline()
  .barcode('{BS-443/1', 'code128', { height: 80, width: 3 })
  .align('left')
  .line('the end')
  .cut('partial')
  .encode();
writeFileSync(process.argv[2], bytes);
