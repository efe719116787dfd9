import { type Paper, Protractor } from '../drawings/protractor.tsx';
import { markup } from './markup.ts';

/** The protractor as an SVG document. */
export function protractorSvg(paper: Paper): string {
  return markup(<Protractor paper={paper} />);
}
