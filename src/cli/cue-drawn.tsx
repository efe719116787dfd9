import { BudgetPicture } from '../drawings/budget-picture.tsx';
import type { ChannelView } from '../drawings/timeline-lane.tsx';
import { TimelinePicture } from '../drawings/timeline-picture.tsx';
import { servoOf } from '../prop/kinds/channel.ts';
import { kindOf } from '../prop/kinds/registry.ts';
import { longCue } from '../prop/long-cue.ts';
import { softLimits } from '../prop/mechanics.ts';
import type { Channel, Prop } from '../prop/schema.ts';
import { type CueStep, stepWords } from '../prop/steps.ts';
import type { Rehearsal } from '../rehearsal/rehearse.ts';
import type { RehearsedLoad } from '../rehearsal/rehearsed-load.ts';
import { markup } from './markup.ts';

/** The rails during each cue, as an SVG document. */
export function budgetSvg(prop: Prop, cues: readonly RehearsedLoad[]): string {
  return markup(<BudgetPicture prop={prop.name} cues={cues} />);
}

/** A cue rehearsed, as an SVG document. */
export function timeline(rehearsal: Rehearsal, prop: Prop): string {
  const specs = longCue(prop.cues[rehearsal.cue]!).steps;
  const steps = rehearsal.steps.map((step, i) => ({ ...step, label: stepLabel(specs[i]!, i) }));
  const channels = Object.fromEntries(
    Object.entries(prop.channels).map(([name, channel]) => [name, viewOf(channel)]),
  );
  return markup(
    <TimelinePicture prop={prop.name} rehearsal={rehearsal} steps={steps} channels={channels} />,
  );
}

function viewOf(channel: Channel): ChannelView {
  const { value } = kindOf(channel);
  const servo = servoOf(channel);
  if (!servo) return { value };
  const [low, high] = softLimits(servo);
  return { value, angles: { low, high, marks: servo.marks ?? {} } };
}

/** `2 lids up`: its number, and its name or what it does. */
function stepLabel(step: CueStep, index: number): string {
  const text = step.name ?? stepWords(step);
  return `${index + 1} ${text.length > 30 ? `${text.slice(0, 29)}…` : text}`;
}
