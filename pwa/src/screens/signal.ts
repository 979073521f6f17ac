/** Voice, sound and vibration of the check, each only where the person has it switched on. */
import type { Settings } from '../seams';
import { language } from '../words';

let sounder: AudioContext | undefined;
const said = new Map<string, string>();

/**
 * Says `text` and marks the moment by a tone and a buzz. The same text of the same
 * sort is not said twice in a row. A device that can do none of it stays silent.
 */
export function signal(sort: 'advice' | 'time' | 'done', settings: Settings, text: string): void {
  if (text !== '' && said.get(sort) === text) return;
  said.set(sort, text);
  if (settings.vibration && sort !== 'advice') navigator.vibrate?.(sort === 'done' ? 250 : [120, 80, 120]);
  if (settings.sound && sort !== 'advice') tone(sort === 'done' ? 880 : 560);
  if (settings.voice && text !== '') speak(text);
}

function speak(text: string): void {
  if (typeof speechSynthesis === 'undefined') return;
  const utterance = new SpeechSynthesisUtterance(text);
  utterance.lang = language;
  speechSynthesis.cancel();
  speechSynthesis.speak(utterance);
}

function tone(hertz: number): void {
  if (typeof AudioContext === 'undefined') return;
  try {
    sounder ??= new AudioContext();
    const source = sounder.createOscillator();
    const level = sounder.createGain();
    source.frequency.value = hertz;
    level.gain.setValueAtTime(0.25, sounder.currentTime);
    level.gain.exponentialRampToValueAtTime(0.001, sounder.currentTime + 0.35);
    source.connect(level).connect(sounder.destination);
    source.start();
    source.stop(sounder.currentTime + 0.4);
  } catch {
    // Sound is refused until somebody has touched the page; the screen says the same.
  }
}
