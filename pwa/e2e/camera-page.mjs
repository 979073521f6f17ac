/** The drip camera alone on a page, with a record of what it calls back; for camera.test.mjs. */
import { mount, unmount } from 'svelte';
import DripCamera from '../src/parts/DripCamera.svelte';
import '../src/style/tokens.css';
import '../src/style/base.css';

const record = { drops: [], closed: 0, longTasks: [], frames: [] };
globalThis.record = record;
new PerformanceObserver((list) => record.longTasks.push(...list.getEntries().map((e) => ({ at: e.startTime, ms: e.duration })))).observe({ entryTypes: ['longtask'] });

const part = mount(DripCamera, {
  target: document.getElementById('app'),
  props: {
    onDrop: () => record.drops.push(performance.now()),
    onClose() {
      record.closed++;
      void unmount(part);
    },
  },
});

// Which frames reach this thread at all: what is lost here is lost by the browser or the machine.
const video = document.querySelector('video');
const next = (now, { mediaTime }) => {
  record.frames.push([now, mediaTime * 1000]);
  video.requestVideoFrameCallback(next);
};
video?.requestVideoFrameCallback(next);
