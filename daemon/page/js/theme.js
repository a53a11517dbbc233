// Light and dark: by the device, or as switched here.

const KEY = 'peakorder-theme';

export function theme() {
  return localStorage.getItem(KEY) ?? 'auto';
}

export function isDark() {
  const chosen = theme();
  return chosen === 'auto' ? matchMedia('(prefers-color-scheme: dark)').matches : chosen === 'dark';
}

export function applyTheme() {
  document.documentElement.dataset.theme = isDark() ? 'dark' : 'light';
  document.querySelector('meta[name=theme-color]').content = isDark() ? '#0a0c0f' : '#ffffff';
}

export function switchTheme() {
  localStorage.setItem(KEY, isDark() ? 'light' : 'dark');
  applyTheme();
}

export const stillWanted = () => matchMedia('(prefers-reduced-motion: reduce)').matches;
