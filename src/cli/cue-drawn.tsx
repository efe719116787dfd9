import { BudgetPicture } from '../drawings/budget-picture.tsx';
import type { ServoView } from '../drawings/timeline-lane.tsx';
import { TimelinePicture } from '../drawings/timeline-picture.tsx';
import { softLimits } from '../prop/mechanics.ts';
import { type CueStep, longCue, type Prop } from '../prop/schema.ts';
import type { CueLoad } from '../rehearsal/cue-load.ts';
import type { Rehearsal } from '../rehearsal/rehearse.ts';
import { markup } from './markup.ts';

/** The rails during each cue, as an SVG document. */
export function budgetSvg(prop: Prop, cues: readonly CueLoad[]): string {
  return markup(<BudgetPicture prop={prop.name} cues={cues} />);
}

/** A cue rehearsed, as an SVG document. */
export function timeline(rehearsal: Rehearsal, prop: Prop): string {
  const specs = longCue(prop.cues[rehearsal.cue]!).steps;
  const steps = rehearsal.steps.map((step, i) => ({ ...step, label: stepLabel(specs[i]!, i) }));
  const servos = Object.fromEntries(
    Object.entries(prop.channels).flatMap(([name, spec]): [string, ServoView][] => {
      if (spec.kind !== 'servo') return [];
      const [low, high] = softLimits(spec);
      return [[name, { low, high, marks: spec.marks ?? {} }]];
    }),
  );
  return markup(
    <TimelinePicture prop={prop.name} rehearsal={rehearsal} steps={steps} servos={servos} />,
  );
}

/** `2 lids up`: its number, and its name or what it does. */
function stepLabel(step: CueStep, index: number): string {
  const { name, move, pose, colour, dim, switch: switched, until, cue, choose } = step;
  const touched = [move, colour, dim, switched].flatMap((part) => Object.keys(part ?? {}));
  const words = [
    ...(pose === undefined ? [] : [`pose ${pose}`]),
    ...touched,
    ...(until ? [`wait for ${until.channel}`] : []),
    ...(cue === undefined ? [] : [`cue ${cue}`]),
    ...(choose ? [`one of ${choose.join(', ')}`] : []),
  ];
  const text = name ?? words.join(', ');
  return `${index + 1} ${text.length > 30 ? `${text.slice(0, 29)}…` : text}`;
}
