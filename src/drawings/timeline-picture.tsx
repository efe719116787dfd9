import type { Rehearsal } from '../rehearsal/rehearse.ts';
import { AxisLabels, Grid, UpDown } from './axis.tsx';
import { RAIL_HEIGHT } from './budget-picture.tsx';
import {
  brokenUp,
  CHART_STYLE,
  GAP,
  LaneGround,
  LEFT,
  Lines,
  linesHeight,
  RIGHT,
} from './chart.tsx';
import { Picture } from './picture.tsx';
import { RailGround, RailLoad, RailName } from './rail-lane.tsx';
import { EventMarks, eventLines, eventMarks } from './timeline-events.tsx';
import { type ChannelView, LANE_HEIGHT, Lane, MarkLines } from './timeline-lane.tsx';
import { Steps, type StepView, stepRows } from './timeline-steps.tsx';
import { changes } from './track.ts';
import { cueLength } from './words.ts';

interface TimelineView {
  /** The prop's name. */
  prop: string;
  rehearsal: Rehearsal;
  steps: readonly StepView[];
  channels: Readonly<Record<string, ChannelView>>;
}

/** A rehearsed cue: one lane for each channel that changes and for each rail, above one time axis. */
export function TimelinePicture({ prop, rehearsal, steps, channels }: TimelineView) {
  const { cue, durationS, cutShort, tracks, rails, events } = rehearsal;
  const axis = { left: LEFT, right: RIGHT, endS: Math.max(durationS, 0.001) };
  const rows = stepRows(steps, axis);
  const marks = eventMarks(events, axis);
  const marksY = 72 + rows.height;
  const axisY = marksY + (marks.length > 0 ? 16 + GAP : 0);
  const top = axisY + 20;
  let y = top;
  const moving = tracks.filter(changes);
  const lanes = moving.map((track) => {
    const channel = channels[track.name]!;
    const lane = { track, channel, axis, y };
    y += LANE_HEIGHT[channel.value] + GAP;
    return lane;
  });
  const railLanes = rails.map((rail) => {
    const lane = { rail, axis, y, height: RAIL_HEIGHT };
    y += RAIL_HEIGHT + GAP;
    return lane;
  });
  const bottom = y;
  const still = tracks.filter((track) => !changes(track)).map(({ name }) => name);
  const stillLines = still.length > 0 ? brokenUp(`As they were: ${still.join(', ')}`) : [];
  const title = events.length > 0 ? ['Events'] : [];
  const { shown, more } = eventLines(events);
  const stillY = bottom + 18;
  const titleY = stillY + linesHeight(stillLines) + (events.length > 0 ? 8 : 0);
  const shownY = titleY + linesHeight(title);
  const moreY = shownY + linesHeight(shown);
  const length = cueLength(durationS, cutShort);
  const said = events.length === 0 ? 'nothing to say' : `${events.length} events`;
  return (
    <Picture
      title={`${prop}: cue ${cue}, rehearsed`}
      desc={`The cue's steps, ${moving.length} channels that change, and ${rails.length} rails, over ${length}; ${said}.`}
      height={moreY + linesHeight(more) + 16}
      style={CHART_STYLE}
    >
      {lanes.map((lane) => (
        <g key={lane.track.name}>
          <LaneGround axis={axis} y={lane.y} height={LANE_HEIGHT[lane.channel.value]} />
          <MarkLines {...lane} />
        </g>
      ))}
      {railLanes.map((lane) => (
        <RailGround key={lane.rail.name} {...lane} />
      ))}
      <Grid axis={axis} top={top} bottom={bottom - GAP} />
      {rows.starts.map((x) => (
        <UpDown key={x} style="start" x={x} top={top} bottom={bottom - GAP} />
      ))}
      {marks.map(({ x }) => (
        <UpDown key={x} style="event-line" x={x} top={top} bottom={bottom - GAP} />
      ))}
      <text x={24} y={36} class="title">
        {prop}: {cue}
      </text>
      <text x={24} y={56} class="soft">
        {length}
      </text>
      <Steps rows={rows} axis={axis} y={72} />
      {marks.length > 0 && <EventMarks marks={marks} axis={axis} y={marksY} />}
      <AxisLabels axis={axis} y={axisY + 12} />
      {lanes.map((lane) => (
        <Lane key={lane.track.name} {...lane} />
      ))}
      {railLanes.map((lane) => (
        <g key={lane.rail.name}>
          <RailName {...lane} />
          <RailLoad {...lane} limit="beside" />
        </g>
      ))}
      <AxisLabels axis={axis} y={bottom + 6} />
      <Lines lines={stillLines} y={stillY} style="soft" />
      <Lines lines={title} y={titleY} style="name" />
      <Lines lines={shown} y={shownY} style="" />
      <Lines lines={more} y={moreY} style="soft" />
    </Picture>
  );
}
