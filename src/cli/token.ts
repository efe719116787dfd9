import { renderUnicodeCompact } from 'uqr';
import { between } from './values.ts';
import { verb } from './verb.ts';

/** Quiet zone around the code (modules): ISO/IEC 18004 asks for four. */
const BORDER = 4;

export const tokenVerbs = [
  verb<{ qr?: true; for?: number }>({
    name: 'token',
    summary: 'make a link that lets a phone or tablet in without typing the token; it works once',
    where: 'both',
    args: [],
    options: [
      { flags: '--qr', doc: 'show the link as a QR code for a camera' },
      {
        flags: '--for <S>',
        doc: 'how long the link works, 30 to 900 s (300 without it)',
        parse: between(30, 900, 'seconds'),
      },
    ],
    async run({ qr, for: forS = 300 }, operator) {
      await operator.connect();
      const result = await operator.call('token.invite', { forS: Math.round(forS) });
      const [best, ...others] = result.links;
      if (best === undefined)
        return { result, text: 'this machine has no address that others can reach', exit: 1 };
      const minutes = Math.round(result.expiresInS / 6) / 10;
      const lines = [
        best,
        ...(others.length > 0 ? [`or, by another address: ${others.join('  ')}`] : []),
        `It works once, within ${minutes} min. Whoever opens it may command the prop: show it to nobody else.`,
      ];
      const code = qr ? [renderUnicodeCompact(best, { border: BORDER, ecc: 'M' })] : [];
      return { result, text: [...code, ...lines].join('\n') };
    },
  }),
];
