import { LoomPicture } from '../drawings/loom-picture.tsx';
import { LoomPrint } from '../drawings/loom-print.tsx';
import type { Prop } from '../prop/schema.ts';
import { loomView } from './loom-data.ts';
import { markup } from './markup.ts';

/** The loom as a picture for the wall, an SVG document. */
export function loomSvg(prop: Prop): string {
  return markup(<LoomPicture {...loomView(prop)} />);
}

/** The loom for paper, an HTML document. */
export function loomHtml(prop: Prop): string {
  return `<!doctype html>\n${markup(<LoomPrint {...loomView(prop)} />)}`;
}
