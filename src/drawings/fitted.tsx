import { px } from './px.ts';

/** Estimated width of small or bold text (px), on the large side, as fonts differ. */
export function widthOf(text: string, bold = false): number {
  let sum = 0;
  for (const letter of text) sum += /[A-Z@%\u2192mwMW_]/.test(letter) ? 7.8 : 6.2;
  return bold ? sum * 1.15 : sum;
}

/** Text cut to `width` pixels; a tooltip has the whole text where it was cut. */
export function Fitted(props: {
  x: number;
  y: number;
  width: number;
  text: string;
  style: string;
}) {
  const { width, text, style } = props;
  const bold = style.startsWith('name');
  const [x, y] = [px(props.x), px(props.y)];
  if (widthOf(text, bold) <= width)
    return (
      <text class={style} x={x} y={y}>
        {text}
      </text>
    );
  let most = text.length - 1;
  while (most > 1 && widthOf(text.slice(0, most), bold) + 10 > width) most--;
  return (
    <text class={style} x={x} y={y}>
      {`${text.slice(0, most)}…`}
      <title>{text}</title>
    </text>
  );
}
