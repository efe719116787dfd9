import fc from 'fast-check';

// Random programs differ from run to run, unless SINEW_SEED is set: the check of a commit has its seed from
// the contents of the commit, so that its verdict can be repeated. A failure names its own seed as well. It is
// not made smaller then: with a slow property that can take hours.

const { SINEW_SEED } = process.env;
if (SINEW_SEED !== undefined) {
  if (!/^[0-9]+$/.test(SINEW_SEED))
    throw new Error(`SINEW_SEED is ${JSON.stringify(SINEW_SEED)}; it must be a whole number`);
  fc.configureGlobal({ seed: Number(SINEW_SEED), endOnFailure: true });
}

export default fc;
