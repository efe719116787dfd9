import type { Result } from '../api/methods.ts';
import { planChange } from '../editing/plan.ts';
import { sensePlaces } from '../editing/sense-places.ts';
import { BOARD_PARTS } from '../prop/board-parts.ts';
import { findingInfos } from '../prop/finding-info.ts';
import { KIND_NAMES } from '../prop/kinds/channel.ts';
import type { Loaded } from '../prop/load.ts';
import { partsFor } from '../prop/parts.ts';
import { changesBetween } from './changes.ts';
import { refuseFaulty } from './faulty.ts';
import type { Asked, PropSource } from './planner-question.ts';

/** What the planner's thread answers about the parts of a prop. @throws Refusal */
export function partsAnswer(
  question: Asked<'plan' | 'data'>,
  read: (source: PropSource) => Loaded,
): Result<'prop.plan'> | Result<'prop.data'> {
  const { version } = question;
  const loaded = read(question);
  if (!loaded.prop) return refuseFaulty(loaded);
  if (question.about === 'data')
    return {
      version,
      data: loaded.raw as Record<string, unknown>,
      parts: partsByKind(),
      places: sensePlaces(loaded.prop),
    };
  const { after, findings, ...plan } = planChange(loaded, question.change);
  return {
    ...plan,
    findings: findingInfos(findings),
    waits: changesBetween(loaded.raw, after.raw).whenParked,
    version,
  };
}

function partsByKind(): Record<string, string[]> {
  const ofKinds = KIND_NAMES.map((kind) => [kind, partsFor(kind)] as const);
  return { ...Object.fromEntries(ofKinds), board: [...BOARD_PARTS] };
}
