// Work that takes a while, followed until it ends.

import { Refused, ask } from "./ask.js";

const OFTEN_MS = 250;

/**
 * Follow a job to its end, and return what came of it; throws `Refused` where it failed.
 * @param {string} job
 * @param {(progress: Record<string, any>) => void} shown
 * @returns {Promise<any>} null where it was stopped
 */
export async function follow(job, shown) {
  for (;;) {
    const told = await ask("job", { job });
    if (told.state === "done") return told.result;
    if (told.state === "stopped") return null;
    if (told.state === "failed") throw new Refused(422, told);
    shown(told.progress);
    await new Promise((go) => setTimeout(go, OFTEN_MS));
  }
}

/** Have a job end. @param {string} job */
export async function stop(job) {
  await ask("stop-job", { job }).catch(() => undefined);
}
