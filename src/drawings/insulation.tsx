import { SCREEN_COLOURS, singleColours } from '../sums/wire-colours.ts';
import { px } from './px.ts';
import { colourText } from './words.ts';

const WIDTH = 20;
const HEIGHT = 9;
/** Width of a swatch of insulation with its code beside it (px). */
export const COLOUR_WIDTH = 62;

/**
 * A swatch of insulation, striped where the core has several colours. `y` is the baseline of text beside
 * it.
 */
function Insulation({ code, x, y }: { code: string; x: number; y: number }) {
  const colours = (singleColours(code) ?? []).map((single) => SCREEN_COLOURS[single]!);
  const count = colours.length > 1 ? 2 * colours.length : colours.length;
  const width = WIDTH / count;
  const top = px(y - HEIGHT);
  return (
    <>
      {Array.from({ length: count }, (_, i) => (
        <rect
          key={i}
          x={px(x + i * width)}
          y={top}
          width={px(width)}
          height={HEIGHT}
          fill={colours[i % colours.length]}
        />
      ))}
      <rect class="insulation" x={px(x)} y={top} width={WIDTH} height={HEIGHT} fill="none">
        <title>{colourText(code)}</title>
      </rect>
    </>
  );
}

/** A swatch and its code, in a picture. */
export function InsulationWithCode(props: { code: string; x: number; y: number }) {
  const { code, x, y } = props;
  return (
    <>
      <Insulation {...props} />
      <text class="code" x={px(x + WIDTH + 4)} y={px(y)}>
        {code}
      </text>
    </>
  );
}

/** A swatch, its code and its name, in text; only the code if it is not in the standard. */
export function ColourText({ code }: { code: string }) {
  const name = colourText(code).slice(code.length);
  if (!name) return <span class="colour">{code}</span>;
  return (
    <span class="colour">
      <Swatch code={code} /> <b>{code}</b>
      {name}
    </span>
  );
}

/** Only the swatch, for text that has the code already; nothing if the code is not in the standard. */
export function Swatch({ code }: { code: string }) {
  if (!singleColours(code)) return null;
  return (
    <svg class="swatch" viewBox={`-0.5 -0.5 ${WIDTH + 1} ${HEIGHT + 1}`} aria-hidden="true">
      <Insulation code={code} x={0} y={HEIGHT} />
    </svg>
  );
}
