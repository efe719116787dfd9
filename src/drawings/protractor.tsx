import { withMinus } from '../shared/minus.ts';

/** A protractor for paper, at true size: one unit of its drawing is one millimetre. */

export const PAPERS = {
  a4: { name: 'A4', widthMm: 210, heightMm: 297 },
  letter: { name: 'Letter', widthMm: 215.9, heightMm: 279.4 },
} as const;
export type Paper = keyof typeof PAPERS;

/** Length of the two lines that show whether the printer keeps the size (mm). */
const CONTROL_MM = 100;
export const RADIUS_MM = 88;
/** Distance of the centre from the top of the paper (mm). */
const CENTRE_DOWN_MM = 112;
/** The drawing ends before the paper does: a printer that rounds up would begin a second page. */
const SPARE_MM = 4;

const RAD = Math.PI / 180;

/** A point at an angle (deg, 0 to the right, anticlockwise) and a distance (mm) from the centre. */
function at(deg: number, mm: number): { x: number; y: number } {
  const round = (value: number) => Math.round(value * 1000) / 1000 + 0;
  return { x: round(mm * Math.cos(deg * RAD)), y: round(-mm * Math.sin(deg * RAD)) };
}

/** As attributes: the page's policy forbids a style within it, and a file on its own needs no other. */
const THIN = { stroke: '#000', 'stroke-width': 0.2, fill: 'none' };
const BOLD = { ...THIN, 'stroke-width': 0.35 };
const FONT = { 'font-family': 'system-ui, sans-serif', 'font-size': 3.2, fill: '#000' };
const TITLE = { ...FONT, 'font-size': 5, 'font-weight': 700 };
/** On the line below them, and on the marks. */
const ON_WHITE = {
  'text-anchor': 'middle',
  stroke: '#fff',
  'stroke-width': 1,
  'paint-order': 'stroke',
};
const OUTER = { ...FONT, ...ON_WHITE, 'font-size': 3.4, 'font-weight': 700 };
const INNER = { ...FONT, ...ON_WHITE, 'font-size': 2.8 };

/** The length of the mark at a whole degree (mm). */
function tickMm(deg: number): number {
  if (deg % 10 === 0) return 8;
  return deg % 5 === 0 ? 5.5 : 3;
}

const STEPS = [
  'Print at 100 % (“actual size”), not fitted to the page. Then measure both 100 mm lines with a ruler:',
  'if one is longer or shorter than the other, the angles are wrong, and this sheet is of no use.',
  'Power off: put the cross on the hinge, seen along its pin, and tape the sheet where it stays.',
  'Fingers out before anything moves. Then read where the edge of the flap, or of the horn, points,',
  'with your eye straight in front of the mark. Use the same row of numbers for every point.',
];

/** A half circle with a mark for each degree, two rows of numbers, and two lines to check the printer. */
export function Protractor({ paper }: { paper: Paper }) {
  const { name, widthMm, heightMm } = PAPERS[paper];
  const height = heightMm - SPARE_MM;
  const degrees = Array.from({ length: 181 }, (_, deg) => deg);
  const left = 14;
  const lines = { x: left, y: height - 122 };
  return (
    <svg
      xmlns="http://www.w3.org/2000/svg"
      class="protractor"
      width={`${widthMm}mm`}
      height={`${height}mm`}
      viewBox={`0 0 ${widthMm} ${height}`}
      role="img"
      aria-label={`Protractor, true size on ${name} paper`}
    >
      <rect width={widthMm} height={height} fill="#fff" />
      <text {...TITLE} x={left} y="12">
        Protractor, true size on {name}
      </text>
      <g transform={`translate(${widthMm / 2} ${CENTRE_DOWN_MM})`}>
        <path class="bold" d={`M${RADIUS_MM} 0A${RADIUS_MM} ${RADIUS_MM} 0 0 0 ${-RADIUS_MM} 0Z`} />
        {degrees.map((deg) => {
          const [outer, inner] = [at(deg, RADIUS_MM), at(deg, RADIUS_MM - tickMm(deg))];
          return (
            <line
              key={deg}
              {...(deg % 10 === 0 ? BOLD : THIN)}
              data-deg={deg}
              x1={outer.x}
              y1={outer.y}
              x2={inner.x}
              y2={inner.y}
            />
          );
        })}
        {degrees
          .filter((deg) => deg % 10 === 0)
          .map((deg) => (
            <g key={deg} transform={`rotate(${90 - deg})`}>
              <text {...OUTER} x="0" y={-(RADIUS_MM - 12.2)}>
                {withMinus(deg - 90)}
              </text>
              <text {...INNER} x="0" y={-(RADIUS_MM - 16.8)}>
                {deg}
              </text>
            </g>
          ))}
        {[0, 45, 90, 135, 180].map((deg) => {
          const [far, near] = [at(deg, RADIUS_MM - 21), at(deg, 6)];
          return <line key={deg} {...THIN} x1={far.x} y1={far.y} x2={near.x} y2={near.y} />;
        })}
        <circle {...THIN} r="2" />
        <line {...THIN} x1="-6" y1="0" x2="6" y2="0" />
        <line {...THIN} x1="0" y1="-6" x2="0" y2="6" />
        <text {...FONT} text-anchor="middle" x="0" y="11">
          the hinge, or the shaft of the servo
        </text>
      </g>
      {STEPS.map((text, i) => (
        <text key={text} {...FONT} x={left} y={CENTRE_DOWN_MM + 22 + i * 5}>
          {text}
        </text>
      ))}
      <g class="control" transform={`translate(${lines.x} ${lines.y + 8})`}>
        <line class="across" {...BOLD} x1="0" y1="0" x2={CONTROL_MM} y2="0" />
        <line {...THIN} x1="0" y1="-2" x2="0" y2="2" />
        <line {...THIN} x1={CONTROL_MM} y1="-2" x2={CONTROL_MM} y2="2" />
        <text {...FONT} x="3" y="-2">
          This line is 100 mm long
        </text>
        <line class="down" {...BOLD} x1="0" y1="0" x2="0" y2={CONTROL_MM} />
        <line {...THIN} x1="-2" y1={CONTROL_MM} x2="2" y2={CONTROL_MM} />
        <text {...FONT} x="3" y={CONTROL_MM}>
          and so is this one
        </text>
      </g>
    </svg>
  );
}
