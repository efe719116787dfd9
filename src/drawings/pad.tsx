import type { PinKind } from './pins.ts';
import { px } from './px.ts';

/** A pad; both its shape and its colour show its use, so that it is clear in black and white. */
export function Pad({ kind, x, y, r }: { kind: PinKind; x: number; y: number; r: number }) {
  if (kind === 'used' || kind === 'free')
    return <circle class={`pad ${kind}`} cx={px(x)} cy={px(y)} r={r} />;
  const size = px(2 * r);
  return <rect class={`pad ${kind}`} x={px(x - r)} y={px(y - r)} width={size} height={size} />;
}

/** A pad with its number on it. */
export function NumberedPad(props: {
  kind: PinKind;
  number: number;
  x: number;
  y: number;
  r: number;
}) {
  const { kind, number, x, y } = props;
  const light = kind === 'used' || kind === 'ground';
  return (
    <>
      <Pad {...props} />
      <text class={light ? 'on light' : 'on'} x={px(x)} y={px(y + 4)}>
        {number}
      </text>
    </>
  );
}
