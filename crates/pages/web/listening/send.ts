// Hands the file of notes over: to the share sheet of a phone, or as a download.

/** Sends it and says what happened. */
export async function send(name: string, text: string): Promise<string> {
  const safe = name.replaceAll(/[^\p{L}\p{N} ._-]/gu, '_');
  const file = new File([text], safe, { type: 'application/json' });
  const touch = window.matchMedia('(pointer: coarse)').matches;
  if (touch && navigator.canShare?.({ files: [file] })) {
    try {
      await navigator.share({ files: [file], title: safe });
      return 'Handed over.';
    } catch (error) {
      if (error instanceof DOMException && error.name === 'AbortError') return 'Not sent.';
    }
  }
  const link = document.createElement('a');
  link.href = URL.createObjectURL(file);
  link.download = safe;
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), 60_000);
  return `Saved as “${safe}”: send that file.`;
}
