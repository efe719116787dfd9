import type { Prop } from '../prop/schema.ts';
import type { RehearsedLoad, RehearsedRail } from '../rehearsal/rehearsed-load.ts';
import { tidy } from '../shared/units.ts';
import { Canvas, GAP, ticks } from './canvas.ts';
import { railFigures } from './rehearse-text.ts';

/** The rails during each cue, one below the other, as an SVG document. */
export function budgetSvg(prop: Prop, cues: readonly RehearsedLoad[]): string {
  const canvas = new Canvas(1);
  canvas.text(24, 36, `${prop.name}: rails`, 'title');
  canvas.y = 52;
  for (const one of cues) block(canvas, one);
  if (cues.length === 0) canvas.paragraph('The file has no cues.', 'soft');
  canvas.y += 8;
  canvas.paragraph(
    'Estimated currents. Worst: if every servo that moves then were stalled. Local codes and licensed practice go before these sums.',
    'soft',
  );
  const names = cues.map(({ cue }) => cue).join(', ');
  return canvas.document(`${prop.name}: rails during ${names}`, described(cues));
}

function block(canvas: Canvas, { cue, durationS, cutShort, rails }: RehearsedLoad): void {
  canvas.endS = Math.max(durationS, 0.001);
  canvas.y += 20;
  const length = cutShort ? `the first ${tidy(durationS)} s` : `${tidy(durationS)} s`;
  canvas.text(24, canvas.y, cue, 'name');
  canvas.text(24 + cue.length * 7.5 + 12, canvas.y, length, 'soft');
  const top = canvas.y + 6;
  canvas.y = top + 4;
  for (const rail of rails) canvas.rail(rail, railFigures(rail), worst(rail));
  for (const tS of ticks(canvas.endS))
    canvas.line(canvas.x(tS), top, canvas.x(tS), canvas.y - GAP, 'grid');
  canvas.axis(canvas.y + 6);
  canvas.y += 18;
}

function worst({ worstA }: RehearsedRail): string {
  return `worst ${tidy(worstA, 2)} A`;
}

function described(cues: readonly RehearsedLoad[]): string {
  const told = cues.map(({ cue, rails }) => {
    const figures = rails.map((rail) => `${rail.name} ${railFigures(rail)}, ${worst(rail)}`);
    return `${cue}: ${figures.join(', ')}.`;
  });
  return told.join(' ');
}
