import { AxisLabels, Grid } from './axis.tsx';
import { brokenUp, CHART_STYLE, GAP, LEFT, Lines, linesHeight, RIGHT } from './chart.tsx';
import { Picture } from './picture.tsx';
import { px } from './px.ts';
import { type Rail, RailGround, RailLoad, RailName } from './rail-lane.tsx';
import { cueLength, RAILS_CAPTION, railFigures, worstText } from './words.ts';

export const RAIL_HEIGHT = 68;
const STEP = RAIL_HEIGHT + GAP;

/** The load of the rails during a cue. */
interface CueRailsView {
  cue: string;
  durationS: number;
  /** The cue goes on until it is stopped; only this much of it was computed. */
  cutShort: boolean;
  rails: readonly (Rail & { worstA: number })[];
}

/** The rails during each cue, one below the other. */
export function BudgetPicture({ prop, cues }: { prop: string; cues: readonly CueRailsView[] }) {
  let y = 52;
  const blocks = cues.map((view) => {
    const top = y;
    y += 48 + view.rails.length * STEP;
    return { view, y: top };
  });
  const none = cues.length === 0 ? ['The file has no cues.'] : [];
  const noteY = y + linesHeight(none) + 8;
  const note = brokenUp(RAILS_CAPTION);
  return (
    <Picture
      title={`${prop}: rails during ${cues.map(({ cue }) => cue).join(', ')}`}
      desc={cues.map(described).join(' ')}
      height={noteY + linesHeight(note) + 16}
      style={CHART_STYLE}
    >
      <text x={24} y={36} class="title">
        {prop}: rails
      </text>
      {blocks.map((block) => (
        <Block key={block.view.cue} {...block} />
      ))}
      <Lines lines={none} y={y} style="soft" />
      <Lines lines={note} y={noteY} style="soft" />
    </Picture>
  );
}

function Block({ view, y }: { view: CueRailsView; y: number }) {
  const { cue, durationS, cutShort, rails } = view;
  const axis = { left: LEFT, right: RIGHT, endS: Math.max(durationS, 0.001) };
  const placed = rails.map((rail, i) => ({
    rail,
    axis,
    y: y + 30 + i * STEP,
    height: RAIL_HEIGHT,
  }));
  const bottom = y + 30 + rails.length * STEP;
  return (
    <g>
      <text x={24} y={px(y + 20)} class="name">
        {cue}
      </text>
      <text x={px(36 + cue.length * 7.5)} y={px(y + 20)} class="soft">
        {cueLength(durationS, cutShort)}
      </text>
      {placed.map((lane) => (
        <RailGround key={lane.rail.name} {...lane} />
      ))}
      <Grid axis={axis} top={y + 26} bottom={bottom - GAP} />
      {placed.map((lane) => (
        <g key={lane.rail.name}>
          <RailName {...lane} />
          <RailLoad {...lane} limit="beside" />
          <text x={RIGHT + 8} y={px(lane.y + RAIL_HEIGHT - 6)} class="soft num">
            {worstText(lane.rail)}
          </text>
        </g>
      ))}
      <AxisLabels axis={axis} y={bottom + 6} />
    </g>
  );
}

function described({ cue, rails }: CueRailsView): string {
  const figures = rails.map((rail) => `${rail.name} ${railFigures(rail)}, ${worstText(rail)}`);
  return `${cue}: ${figures.join(', ')}.`;
}
