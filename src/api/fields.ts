import { lazily } from '../shared/lazily.ts';
import { makePieces } from './pieces.ts';
import { makeShapes } from './shapes.ts';

function make() {
  const pieces = makePieces();
  return { ...pieces, ...makeShapes(pieces) };
}

export type Fields = ReturnType<typeof make>;

/** Made when first asked for: zod takes a while, and the gateway listens before that. */
export const fields: () => Fields = lazily(make);
