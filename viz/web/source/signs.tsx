// A verdict's or finding's sign: its shape says what its colour says.

import type { VerdictLook } from "./data";

const PATHS: Record<string, string> = {
  cross: "M5 5L19 19M19 5L5 19",
  unequal: "M4 9H20M4 15H20M16 4L8 20",
  triangle: "M12 4L21 20H3ZM12 10V15M12 17.4V18",
  bar: "M12 2.5A9.5 9.5 0 1 0 12 21.5A9.5 9.5 0 1 0 12 2.5M6.5 12H17.5",
  tick: "M4 13L10 19L20 5",
  ring: "M12 4A8 8 0 1 0 12 20A8 8 0 1 0 12 4",
};

export function Sign({ look, size }: { look: VerdictLook; size: number }) {
  return (
    <svg class="sign" width={size} height={size} viewBox="0 0 24 24" aria-hidden="true">
      <path d={PATHS[look.sign] ?? PATHS.ring} fill="none" stroke={look.colour} stroke-width="3.2"
        stroke-linecap="round" stroke-linejoin="round" />
    </svg>
  );
}
