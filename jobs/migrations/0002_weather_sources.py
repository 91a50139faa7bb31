# Where a source keeps a cell, and what it last said.

from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('jobs', '0001_initial'),
    ]

    operations = [
        migrations.AddField(
            model_name='weathercell',
            name='asked_at',
            field=models.DateTimeField(null=True),
        ),
        migrations.AddField(
            model_name='weathercell',
            name='failure',
            field=models.CharField(blank=True, help_text='Why the last answer could not be used.', max_length=240),
        ),
        migrations.AddField(
            model_name='weathercell',
            name='place',
            field=models.JSONField(help_text='Where the source keeps this cell, as it said when first asked.', null=True),
        ),
        migrations.AddField(
            model_name='weathercell',
            name='validators',
            field=models.JSONField(default=dict, help_text='What the source said about its last answer.'),
        ),
    ]
